// How the field looks: the place, what is asked there, the field itself, and what became of what was typed.

const el = (tag, className, text) => {
  const made = document.createElement(tag);
  if (className) made.className = className;
  if (text !== undefined) made.textContent = text;
  return made;
};

const button = (className, text, onPress) => {
  const made = el("button", className, text);
  made.type = "button";
  made.addEventListener("mousedown", (e) => e.preventDefault()); // the cursor stays in the field
  made.addEventListener("click", onPress);
  return made;
};

const fill = (element, ...children) => element.replaceChildren(...children.filter(Boolean));

const setText = (element, text) => {
  if (element.textContent !== text) element.textContent = text; // said aloud only when it is new
};

class View {
  constructor(root, keeper) {
    this.keeper = keeper;
    this.root = root;
    this.place = el("h3", "place");
    this.face = el("div", "face");
    this.place.setAttribute("aria-live", "polite");
    this.asked = el("p", "asked");
    this.fault = el("p", "fault");
    this.fault.setAttribute("role", "alert");
    this.input = el("input", "key");
    Object.assign(this.input, { type: "text", autocomplete: "off", spellcheck: false, enterKeyHint: "done" });
    this.input.setAttribute("aria-label", "Reading");
    this.input.setAttribute("autocapitalize", "off");
    this.input.setAttribute("aria-describedby", "qclog-place qclog-asked");
    this.store = button("store", "Store", () => this.enter());
    this.conditions = el("div", "conditions");
    this.words = el("div", "words");
    this.acts = el("div", "acts");
    this.waiting = el("p", "waiting");
    this.notices = el("div", "notices");
    this.said = el("p", "said");
    this.said.setAttribute("aria-live", "polite");
    const words = el("div", "where");
    words.append(this.place, this.asked);
    const top = el("div", "top");
    top.append(words, this.face);
    const row = el("div", "row");
    row.append(this.input, this.store);
    fill(root, this.notices, top, this.fault, row, this.conditions, this.words, this.acts, this.waiting, this.said);
    this.listen();
  }

  listen() {
    const { input, keeper } = this;
    input.addEventListener("input", (e) => {
      keeper.fault = "";
      keeper.type(input.value, e);
    });
    input.addEventListener("keydown", (e) => {
      e.stopPropagation(); // letters are shortcuts of the pages elsewhere
      if (e.key === "Enter") {
        e.preventDefault();
        if (!e.isComposing && e.keyCode !== 229) this.enter();
      } else if (e.key === "Escape") keeper.leave();
    });
    input.addEventListener("paste", (e) => {
      const lines = (e.clipboardData?.getData("text") ?? "").split(/[\r\n\t]+/).map((line) => line.trim());
      if (lines.length < 2) return;
      e.preventDefault();
      this.paste(lines);
    });
  }

  // Several lines are several readings; what comes after a refused one is not guessed at.
  paste(lines) {
    const { keeper } = this;
    const wanted = lines.filter(Boolean);
    while (wanted.length && !keeper.shut) {
      keeper.type(wanted.shift());
      if (!keeper.enter()) break;
    }
    if (wanted.length) keeper.notices.push(`Pasted and not taken: ${wanted.join("; ")}`);
    keeper.keep();
    keeper.draw();
  }

  enter() {
    if (!this.keeper.enter() && this.keeper.fault) this.input.select();
    this.input.focus();
  }

  draw() {
    const { keeper, root, input } = this;
    const data = keeper.data;
    if (!data) return;
    const listens = !data.places;
    root.hidden = listens;
    this.place.id = listens ? "" : "qclog-place"; // one that only listens may stay beside the field for a while
    this.asked.id = listens ? "" : "qclog-asked";
    const waiting = keeper.queue.filter((e) => !e.answered);
    root.dataset.waiting = String(waiting.length);
    if (listens) {
      root.dataset.state = "listening";
      return;
    }
    const item = keeper.here();
    root.dataset.state = keeper.shut ? "shut" : keeper.putting ? "refused" : item ? "open" : "done";
    setText(this.place, item?.words || "No place is left to read");
    const shown = item?.place ? (data.gauges[item.gauge_kind ?? ""] ?? "") : "";
    setText(this.asked, [item?.asked, shown && `Gauge ${shown}`].filter(Boolean).join(". "));
    this.drawFace(item);
    setText(this.fault, keeper.fault || (keeper.putting && `${keeper.putting.message}`) || "");
    const before = input.value;
    if (before !== keeper.text) input.value = keeper.text;
    input.readOnly = keeper.shut;
    input.placeholder = keeper.shut ? "wait" : "";
    if (keeper.putting && this.selected !== keeper.putting) {
      show(input);
      input.select();
    }
    this.selected = keeper.putting;
    this.store.disabled = keeper.shut;
    this.drawConditions(item);
    this.drawButtons(item);
    this.drawTold(waiting);
    // What the server drew for the place that it knows of is not for this one.
    const behind = Boolean(item) && keyOf(item.place) !== keyOf(data.here);
    document.querySelector(".st-key-leaf_by_leaf")?.toggleAttribute("inert", behind);
    document.documentElement.toggleAttribute("data-qclog-ahead", behind);
    this.focus(data);
  }

  focus(data) {
    const { input, keeper } = this;
    if (keeper.shut || keeper.focused === data.focus) return;
    keeper.focused = data.focus;
    show(input);
    setTimeout(showInList, 150); // the list is drawn after the field
  }

  drawFace(item) {
    const drawn = (item?.face && this.keeper.data.faces[item.face]) || "";
    if (this.drawnFace !== drawn) this.face.innerHTML = drawn;
    this.drawnFace = drawn;
    for (const part of this.face.querySelectorAll("[data-angle]")) {
      part.classList.toggle("here", item.angles.includes(Number(part.dataset.angle)));
    }
  }

  drawConditions(item) {
    const { keeper } = this;
    const given = item ? keeper.conditionsAt(item) : [];
    const mark = JSON.stringify([item?.place?.[1], item?.groups, given]);
    if (mark === this.conditionsDrawn) return;
    this.conditionsDrawn = mark;
    const rows = (item?.groups ?? []).map((group, i) => {
      const row = el("div", given[i] ? "group" : "group wanted");
      row.setAttribute("role", "group");
      row.setAttribute("aria-label", group.map((w) => w.replaceAll("_", " ")).join(" or "));
      for (const word of group) {
        const one = button("choice", word.replaceAll("_", " "), () => keeper.pick(item, group, word));
        one.setAttribute("aria-pressed", String(given[i] === word));
        row.append(one);
      }
      return row;
    });
    fill(this.conditions, ...rows);
  }

  drawButtons(item) {
    const { keeper } = this;
    const mark = JSON.stringify([item?.place?.[1], item?.answers, keeper.shut, Boolean(keeper.putting), !item]);
    if (mark === this.buttonsDrawn) return;
    this.buttonsDrawn = mark;
    const say = (word) => () => {
      if (keeper.shut) return;
      keeper.putting ? (keeper.text = word) : keeper.type(word);
      this.enter();
    };
    fill(this.words, ...(item?.answers ?? []).map((word) => button("word", word, say(word))));
    const acts = [];
    if (item?.place) {
      acts.push(button("act", "Skip for now", () => keeper.skip()));
      acts.push(
        button("act", "Not accessible", () => {
          if (keeper.shut) return;
          keeper.type("not accessible");
          this.input.focus();
          this.input.setSelectionRange(14, 14);
        }),
      );
    }
    if (keeper.putting) acts.push(button("act", "Leave it out", () => keeper.leave()));
    fill(this.acts, ...acts);
    for (const one of this.root.querySelectorAll(".word, .act")) one.disabled = keeper.shut;
  }

  drawTold(waiting) {
    const { keeper } = this;
    const data = keeper.data;
    const name = (e) => (e.kind === "skip" ? "" : [e.text, e.words && `(${e.words})`].filter(Boolean).join(" "));
    const others = waiting.filter((e) => e.kind !== "scan" && e.person !== data.person);
    const own = waiting.filter((e) => !others.includes(e)).map(name).filter(Boolean);
    const parts = [];
    if (own.length) {
      const why = data.waiting || (keeper.slow ? "The server does not answer" : "");
      const list = own.length > 3 ? `${own.slice(0, 3).join(", ")} and ${own.length - 3} more` : own.join(", ");
      parts.push(`${why ? `${why}. ` : ""}Being stored: ${list}`);
    }
    if (others.length) parts.push(`${others.length} typed by ${others[0].person} wait until ${others[0].person} is here again`);
    setText(this.waiting, parts.join(". "));
    setText(this.said, data.said);
    const elsewhere = keeper.returned.filter((e) => e.place[0] !== data.job || e.person !== data.person);
    const lines = [
      ...keeper.notices,
      ...elsewhere.map((e) => `“${e.text}” was not stored in job ${e.place[0]} (${e.words}): open that job to put it right.`),
    ];
    const mark = JSON.stringify(lines);
    if (mark === this.noticesDrawn) return;
    this.noticesDrawn = mark;
    const rows = lines.slice(-4).map((line) => el("p", "notice", line));
    const away = button("act", "Seen", () => {
      keeper.notices = [];
      keeper.returned = keeper.returned.filter((e) => !elsewhere.includes(e));
      keeper.keep();
      keeper.draw();
    });
    fill(this.notices, ...rows, lines.length ? away : null);
    this.notices.setAttribute("role", "status");
  }
}

// The place asked for and what became of the last reading stand above the field, so they must be seen with it:
// the page is scrolled no further than the button below the field needs.
const ABOVE = 330;

const show = (field) => {
  field.focus({ preventScroll: true });
  const page = field.closest('[data-testid="stMain"]');
  const below = (field.closest(".qclog-field") ?? field).getBoundingClientRect().bottom + 16;
  if (page && (below > window.innerHeight || field.getBoundingClientRect().top < ABOVE)) {
    page.scrollTop += below - window.innerHeight;
  }
};

// A long sheet's list has its own scroll bar: the place at hand is kept in sight there.
const showInList = () => {
  const here = document.querySelector('[class*="st-key-place_"] button[kind="primary"]');
  let list = here?.parentElement;
  while (list && list.scrollHeight <= list.clientHeight + 1) list = list.parentElement;
  if (!list || list.matches('[data-testid="stMain"]')) return;
  const { top, bottom } = here.getBoundingClientRect();
  const frame = list.getBoundingClientRect();
  if (top < frame.top + 40 || bottom > frame.bottom - 40) list.scrollTop += top - frame.top - frame.height / 3;
};

// Streamlit may draw a field that is on its way out once more, after the one that takes its place.
const isOvertaken = (keeper, root, data) =>
  keeper.root !== root && keeper.root?.isConnected && keeper.setState && data.now < keeper.data.now;

export default function ({ data, parentElement, setStateValue }) {
  if (!window.__qclogKeeper) {
    window.__qclogKeeper = new Keeper();
    listen(window.__qclogKeeper);
  }
  const keeper = window.__qclogKeeper;
  const root = parentElement.querySelector(".qclog-field");
  if (isOvertaken(keeper, root, data)) {
    root.hidden = true;
    return () => {};
  }
  if (keeper.root && keeper.root !== root) { // it may stand there a while yet, and keys must go to one field only
    keeper.root.hidden = true;
    keeper.root.dataset.state = "gone";
    keeper.root.querySelector("input")?.blur();
  }
  if (!root.view) {
    root.view = new View(root, keeper);
    if (data.places) keeper.begin();
  }
  if (!data.places) keeper.shut = true;
  keeper.root = root;
  keeper.setState = setStateValue;
  keeper.input = data.places ? root.view.input : null;
  keeper.draw = () => root.view.draw();
  keeper.hear(data);
  return () => {
    if (keeper.root !== root || keeper.setState !== setStateValue) return;
    Object.assign(keeper, { root: null, setState: null, input: null, shut: true, focused: null, draw: () => {} });
  };
}
