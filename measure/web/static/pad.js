// The number pad: keys for gloves. It only writes text; what a length is, the bench computer says.
import { mark as decimalMark, remember } from "./decimals.js";
import { say } from "./talk.js";

const PARTS = ["1/16", "1/8", "3/16", "1/4", "5/16", "3/8", "7/16", "1/2", "9/16", "5/8", "11/16", "3/4", "13/16", "7/8", "15/16"];
const TRAILING = /\s*\d+\/\d+\s*"?$/;

function element(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value); else if (value !== false) made.setAttribute(key, value);
  }
  made.append(...inside);
  return made;
}

// Ask for one or more figures. Resolves with {values, act} or null where it was closed.
export function ask({ title, fields, units, negative = false, acts = [], about = "" }) {
  return new Promise((resolve) => {
    const mark = decimalMark();
    let current = 0;
    const inputs = fields.map((field, i) => element("input", {
      id: `pad-${i}`, type: "text", inputmode: "none", autocomplete: "off", enterkeyhint: "done",
      onfocus: () => { current = i; }, value: field.value || "",
    }));
    const put = (text) => {
      const input = inputs[current];
      if (text === "back") input.value = input.value.replace(/\s+$/, "").slice(0, -1).replace(/\s+$/, "");
      else if (text === "minus") input.value = input.value.startsWith("-") ? input.value.slice(1) : `-${input.value}`;
      else if (text === mark && /[.,]$/.test(input.value)) input.value = input.value.slice(0, -1) + (input.value.endsWith(".") ? "," : ".");
      else if (text.includes("/")) {
        const whole = input.value.replace(TRAILING, "").replace(/\s+$/, "");
        const end = units === "in" ? "" : '"';
        input.value = `${whole}${whole ? " " : ""}${text}${end}`;
      } else input.value += text;
      tellFigure();
    };
    const spoken = element("p", { class: "visually-hidden", "aria-live": "polite" });
    const tellFigure = () => { spoken.textContent = inputs[current].value; };
    const key = (text, face = text, label = text, { class: kind } = { class: "" }) => element("button", {
      type: "button", class: `key-cap ${kind}`, "aria-label": label, onpointerdown: (e) => e.preventDefault(), onclick: () => put(text),
    }, face);
    const digits = element("div", { class: "digits" },
      ...["7", "8", "9", "4", "5", "6", "1", "2", "3"].map((d) => key(d)),
      key(mark, mark === "," ? ", ." : ". ,", say("decimal_key")), key("0"), key("back", "⌫", say("back"), { class: "soft" }));
    if (negative) digits.append(key("minus", `− ${say("minus")}`, say("minus"), { class: "wide soft" }));
    const inches = element("div", { class: "inches" }, ...PARTS.map((p) => key(p)), key("'", `${say("feet")} ′`, say("feet"), { class: "soft wide2" }), key('"', `${say("inches")} ″`, say("inches"), { class: "soft wide2" }), key(" ", "␣", say("space_key"), { class: "soft" }));
    inches.hidden = units !== "in";
    const toggle = element("button", { hidden: units === "in", type: "button", class: "plain", "aria-expanded": String(!inches.hidden), onclick: () => {
      inches.hidden = !inches.hidden; toggle.setAttribute("aria-expanded", String(!inches.hidden));
    } }, say("inch_keys"));
    const answer = (act) => { const values = inputs.map((i) => i.value.trim()); remember(values.join(" ")); close({ values, act }); };
    const buttons = element("div", { class: "pad-acts" },
      element("button", { type: "button", class: "button quiet", onclick: () => close(null) }, say("cancel")),
      element("button", { type: "submit", class: "button go", value: "save" }, acts.length ? acts[0].words : say("save")));
    const further = element("div", { class: "pad-more" }, ...acts.slice(1).map((act) => element("button", {
      type: "button", class: "button quiet", onclick: () => answer(act.act) }, act.words)));
    const form = element("form", { method: "dialog", onsubmit: (event) => { event.preventDefault(); answer(acts.length ? acts[0].act : "fill"); } },
      element("h2", { id: "pad-title" }, title),
      element("p", { class: "help" }, about, about ? " " : "", say("in_unit", { unit: say(units) })),
      ...inputs.map((input, i) => element("label", { class: "figure", for: `pad-${i}` }, fields[i].label, input)),
      digits, toggle, inches, buttons, further, spoken);
    const dialog = element("dialog", { class: `pad ${units}`, "aria-labelledby": "pad-title" }, form);
    let done = false;
    // the row that opened this may have been drawn anew meanwhile: the focus goes back to the one of its name
    const opener = document.activeElement ? document.activeElement.id : "";
    const close = (result) => {
      if (done) return;
      done = true;
      dialog.close();
      dialog.remove();
      const again = opener && document.getElementById(opener);
      if (again) again.focus({ preventScroll: true });
      resolve(result);
    };
    dialog.addEventListener("cancel", (event) => { event.preventDefault(); close(null); });
    document.body.append(dialog);
    dialog.showModal();
    inputs[0].focus();
    inputs[0].setSelectionRange(inputs[0].value.length, inputs[0].value.length);
  });
}
