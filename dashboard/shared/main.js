// @ts-check
/* Everything the pages need; what is made of a page waits until its place is there. */
import "./table.js";
import "../panel/panel.js";
import "../trip/trip.js";
import "../gearing/gearing.js";
import "../roads/roads.js";
import "../dyno/dyno.js";
import "../knobs/knobs.js";
import "../speedometer/speedometer.js";
import "../hidden_fault/hidden_fault.js";
