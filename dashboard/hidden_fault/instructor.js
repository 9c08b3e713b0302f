// @ts-check
/* The instructor's corner of a class: signing in, the table of the class, entry words. */
import { bar, button, element, inputBox, region, say, table, worded } from "../shared/dom.js";
import { get } from "../shared/server.js";

/** @typedef {(what: string, body: object) => Promise<any>} Post */

/** The form of the password. @param {HTMLElement} box @param {Post} post @param {boolean} [open] */
export function signIn(box, post, open = false) {
  const told = element("p", { class: "told", role: "alert", hidden: true });
  const where = "The table of the class and its entry words. The password stands on the terminal of the server, or " +
    "in its password file.";
  const password = inputBox("fault-password", { type: "password", maxlength: "200", spellcheck: "false",
    autocapitalize: "none", "aria-describedby": "fault-password-where" });
  const enter = element("button", { type: "submit", class: "strong", text: "Sign in" });
  const form = element("form", { class: "bar", onsubmit: (event) => {
    event.preventDefault();
    const given = password.value;
    if (!given) { password.focus(); return; }
    password.value = ""; told.hidden = true; enter.disabled = true;
    post("sign-in", { password: given }).then(() => { instructor(box, post); box.querySelector("button").focus(); })
      .catch((problem) => { enter.disabled = false; say(told, problem.message); password.focus(); });
  } }, [element("label", { for: password.id, text: "password" }), password, enter]);
  const summary = worded("summary", "For the instructor");
  const made = element("details", { class: "sign-in" }, [summary,
    element("p", { class: "quiet small", id: "fault-password-where", text: where }), form, told]);
  made.open = open;
  box.hidden = false;
  box.replaceChildren(made);
  if (open) { summary.focus(); }
}

/** The table of the class. @param {HTMLElement} box @param {Post} post */
export function instructor(box, post) {
  const list = region("wide", "The class", []);
  const aside = element("div"), told = element("p", { class: "told", role: "alert", hidden: true });
  const name = inputBox("fault-word-for", { onkeydown: (event) => { if (event.key === "Enter") { ask(); } } });
  const word = element("b", { class: "entry-word", role: "status" });
  const fail = (problem) => say(told, problem.message);
  const show = async () => {
    try {
      if (!(await get("/hidden-fault/hosted")).instructor) { signIn(box, post, true); return; }
      const { heads, rows, set_aside: broken } = await get("/hidden-fault/class.json");
      told.hidden = true;
      list.replaceChildren(rows.length ? table(heads, rows.map((row) => row.map(String)), { first: "td" })
        : worded("p", "Nobody has opened a case yet.", "quiet"));
      aside.replaceChildren(...(broken.length ? [worded("h3", "Set aside in the folder of sessions"),
        element("ul", { class: "small" }, broken.map((text) => element("li", { text })))] : []));
    } catch { say(told, "The class list could not be read."); }
  };
  const ask = () => {
    const student = name.value.trim();
    word.textContent = ""; told.hidden = true;
    if (!student) { name.focus(); return; }
    post("word", { student }).then((answer) => { word.textContent = answer.word; }).catch(fail);
  };
  const signOut = () => post("sign-out", {}).then(() => signIn(box, post, true)).catch(fail);
  box.hidden = false;
  const file = { class: "button", href: "/hidden-fault/class.csv", download: "class.csv", text: "Download class.csv" };
  box.replaceChildren(worded("h2", "For the instructor"), told, list, aside, bar([
    button("Look again", show), element("a", file),
    element("label", { for: name.id, text: "entry word for" }), name, button("Show the word", ask), word,
    button("Sign out", signOut, { class: "sign-out" })]));
  show();
}
