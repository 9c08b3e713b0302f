// What every script of the pages must keep; given by path, as there is no such file at the top.
const BROWSER = ["window", "document", "fetch", "navigator", "URL", "URLSearchParams", "Blob", "AbortController", "CustomEvent",
  "MutationObserver", "ResizeObserver", "TextDecoder", "Node", "Element", "HTMLElement", "EventTarget"];

export default [{
  files: ["**/*.js"],
  linterOptions: { reportUnusedDisableDirectives: "error" },
  languageOptions: { ecmaVersion: 2023, sourceType: "module", globals: Object.fromEntries(BROWSER.map((name) => [name, "readonly"])) },
  rules: {
    "array-callback-return": "error", "consistent-return": "error", "curly": "error", "default-case-last": "error",
    "eqeqeq": "error", "no-cond-assign": "error", "no-const-assign": "error", "no-constant-condition": "error",
    "no-dupe-args": "error", "no-dupe-class-members": "error", "no-dupe-else-if": "error", "no-dupe-keys": "error",
    "no-duplicate-imports": "error", "no-empty": "error", "no-eval": "error", "no-fallthrough": "error",
    "no-implicit-globals": "error", "no-implied-eval": "error", "no-loop-func": "error", "no-new-func": "error",
    "no-redeclare": "error", "no-self-assign": "error", "no-self-compare": "error", "no-throw-literal": "error",
    "no-undef": "error", "no-unreachable": "error", "no-unsafe-finally": "error",
    "no-unused-expressions": "error", "no-use-before-define": ["error", { functions: false, classes: false, variables: false }],
    "no-unused-vars": ["error", { argsIgnorePattern: "^_", varsIgnorePattern: "^_$" }], "no-useless-return": "error",
    "no-var": "error", "object-shorthand": "error", "prefer-const": ["error", { destructuring: "all" }], "prefer-rest-params": "error",
    "radix": "error", "use-isnan": "error", "valid-typeof": "error", "no-console": "error",
    "max-len": ["error", { code: 120 }], "max-lines-per-function": ["error", { max: 60 }], "max-depth": ["error", 4],
    "no-tabs": "error", "no-trailing-spaces": "error", "eol-last": "error", "semi": ["error", "always"],
    "quotes": ["error", "double", { avoidEscape: true, allowTemplateLiterals: true }],
    "no-restricted-syntax": ["error",
      { selector: "CallExpression[callee.property.name='insertAdjacentHTML']", message: "make elements, not markup" }],
  },
}];
