// The decimal mark of whoever looks. The bench computer writes points; on this page every figure wears the mark that was
// last typed in this browser, and before that the one of the browser's language. Files and what is sent keep theirs.

const KEY = "plumbsquare-mark";
const FIGURE = /(^|[^\w.,])(\d+)\.(\d+)(?!\w|\.\d)/g; // by itself: no part of a name, of a file or of a version
const TYPED = /(\d)[.,](?=\d)/g;
const ofLanguage = new Intl.NumberFormat(navigator.language).format(1.5).includes(",") ? "," : ".";
let ofPage = "";

export function mark() {
  try { return localStorage.getItem(KEY) || ofPage || ofLanguage; } catch { return ofPage || ofLanguage; }
}

export function remember(typed) {
  const found = /\d*([.,])\d/.exec(typed);
  if (!found) return;
  ofPage = found[1];
  try { localStorage.setItem(KEY, ofPage); } catch { /* a private window: as long as the page is open */ }
}

// A reading as it stands in a table, with either mark.
export function dressed(typed) { return typed.replace(TYPED, `$1${mark()}`); }

function dress(node) {
  const around = node.parentElement;
  if (!around || around.closest("[translate=no], pre, script, svg, time")) return;
  const text = around.closest(".typed") ? dressed(node.data) : mark() === "," ? node.data.replace(FIGURE, "$1$2,$3") : node.data;
  if (text !== node.data) node.data = text;
}

function dressAll(part) {
  if (part.nodeType === Node.TEXT_NODE) { dress(part); return; }
  const texts = document.createTreeWalker(part, NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) dress(texts.currentNode);
}

new MutationObserver((changes) => changes.forEach((change) => {
  if (change.type === "characterData") dress(change.target); else change.addedNodes.forEach(dressAll);
})).observe(document.body, { childList: true, characterData: true, subtree: true });
dressAll(document.body);
