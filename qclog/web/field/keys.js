// Keys that come while the cursor is elsewhere: a scanner, a gauge on a wire, or a person who just types.

const FAST = 80; // ms between keys: faster than anyone types, slower than any scanner or gauge on a wire
const HALTING = 1500; // a busy machine may hold a code up once it has begun
const PAUSE = 1000; // ms without a key before a gauge on a wire sends: whoever types comes from the key before
const FEWEST = 3; // characters a gauge on a wire sends; two keys can roll off a person's fingers as fast
const GAUGE = /^[-+]?[0-9]*[.,]?[0-9]+ ?[a-zA-Zµ"]{0,4}$/;
const CODE = "qclog:";

const put = (element, value) => {
  if (!element || value === null || !("value" in element)) return;
  Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value").set.call(element, value);
  element.dispatchEvent(new Event("input", { bubbles: true }));
};

const typesText = (e) =>
  e && (e.isContentEditable || e.tagName === "TEXTAREA" || (e.tagName === "INPUT" && e.type !== "radio"
    && e.type !== "checkbox" && e.type !== "button"));

const stop = (e) => { e.preventDefault(); e.stopImmediatePropagation(); };

let burst = null;

const isOfCode = (text) => {
  const low = text.toLowerCase();
  return low.startsWith(CODE) || CODE.startsWith(low);
};

function onKey(keeper, e) {
  if (e.ctrlKey || e.metaKey || e.altKey || !e.isTrusted || e.isComposing) return;
  const field = keeper.input;
  const active = document.activeElement;
  const now = e.timeStamp;
  const inField = field && active === field;
  const nowhere = !typesText(active);
  if (e.key === "Enter" || e.key === "Tab") {
    const last = burst;
    burst = null;
    if (last && isScan(last.text) && now - last.at < HALTING) {
      stop(e);
      if (last.where === field) keeper.type(last.before ?? "");
      else put(last.where, last.before);
      keeper.lastKey = now;
      keeper.scan(last.text);
      return;
    }
    const wired = last && last.fresh && now - last.at <= 2 * FAST && last.text.length >= FEWEST && GAUGE.test(last.text);
    if (field && !inField && last && !nowhere && wired && last.where === active) {
      stop(e);
      put(last.where, last.before);
      if (!keeper.shut) field.focus();
      if (keeper.shut) keeper.swallowed += last.text;
      else {
        if (keeper.text && !keeper.putting) keeper.notices.push(`“${keeper.text}” was not entered.`);
        keeper.type(last.text);
        keeper.enter();
      }
    } else if (keeper.shut && keeper.data?.places && (inField || active === document.body)) stop(e);
    keeper.lastKey = now;
    return;
  }
  if (e.key.length !== 1) {
    if (inField && keeper.shut && (e.key === "Backspace" || e.key === "Delete")) stop(e);
    return;
  }
  const gap = burst && isOfCode(burst.text) ? HALTING : FAST;
  if (!burst || now - burst.at > gap || burst.where !== active) {
    const before = typesText(active) ? active.value : null;
    burst = { text: "", where: active, before, at: now, fresh: now - keeper.lastKey >= PAUSE };
  }
  burst.text += e.key;
  burst.at = now;
  keeper.lastKey = now;
  if (e.key === " " && !inField) return;
  if (!keeper.data?.places || !field) {
    if (nowhere) keeper.lostKey = now;
  } else if (keeper.shut && (inField || nowhere)) {
    stop(e);
    keeper.lostKey = now;
    if (!isOfCode(burst.text)) keeper.swallowed += e.key;
  } else if (!inField && nowhere) {
    burst.where = field;
    burst.before = field.value;
    field.focus(); // before the key is typed, so that it is typed there
  }
}

function listen(keeper) {
  document.addEventListener("keydown", (e) => onKey(keeper, e), true);
}
