// What was typed and has no answer yet. It outlives redrawing, a change of page and a reload of the page; an entry is
// dropped only when the server says that it has it, and goes back to its place when the server refuses it.

const QUIET = 500; // ms without a key before a field that was shut opens: half a reading is worse than none
const LONG_QUIET = 1500; // the same where a key was lost, so that somebody is in the midst of typing
const PATIENCE = 15000; // ms until what was sent is sent again
const SLOW = 6000; // ms without an answer until it is said

const newId = () => {
  const b = crypto.getRandomValues(new Uint8Array(16)); // randomUUID is only there over https
  b[6] = (b[6] & 0x0f) | 0x40;
  b[8] = (b[8] & 0x3f) | 0x80;
  const hex = [...b].map((x) => x.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
};

const keyOf = (place) => (place ? JSON.stringify(place) : null);
const isScan = (text) => /^\s*qclog:/i.test(text);
const isJobScan = (text) => /^\s*qclog:\s*job:/i.test(text);
const jobOf = (text) => text.trim().split(":").slice(2).join(":").trim();
const opensJob = (e) => e.kind === "scan" && e.on !== "investigation" && isJobScan(e.text); // there it is traced
const isCorrection = (text) => /^\s*correct\s/i.test(text);
const plainWords = (text) => ` ${text.toLowerCase().replaceAll("_", " ").replaceAll(",", " ")} `;

class Keeper {
  constructor() {
    this.data = null; // what the server said last
    this.queue = []; // typed, no answer yet
    this.returned = []; // refused, each to be put right at its place
    this.putting = null; // the refused entry that is being put right now
    this.notices = []; // what was not stored, in words, until it is put away
    this.text = "";
    this.target = null; // where the text in the field belongs, from its first key on
    this.picked = {}; // conditions pressed here, by characteristic and group
    this.before = null; // the entry typed before
    this.used = -1; // the choice from the list that was answered by an entry
    this.shut = true;
    this.swallowed = "";
    this.fault = "";
    this.scanned = null; // the job that was opened by the last scan
    this.lastKey = performance.now();
    this.lostKey = -Infinity; // when a key last came that could not be taken
    this.sentRound = 0;
    this.sentAt = 0;
    this.ahead = null; // the greatest difference seen between the server's clock and ours
    this.setState = null;
    this.draw = () => {};
    setInterval(() => this.tick(), 100);
  }

  // --- what the server says ---

  hear(data) {
    const old = this.data;
    if (!old || old.log !== data.log) this.restore(data.log);
    this.data = data;
    this.ahead = Math.max(this.ahead ?? -Infinity, data.now - Date.now());
    this.sentRound = Math.max(this.sentRound, data.round);
    const moved = this.dropAnswered(data);
    const changed = old && (old.job !== data.job || old.person !== data.person);
    const chosen = data.chosen && data.chosen.turn !== old?.chosen?.turn && data.chosen.turn !== this.used;
    if (changed) this.picked = {};
    if (old && old.other !== data.other) this.before = null;
    if (this.putting && this.putting.place[0] !== data.job) this.stopPutting();
    if (this.target?.after) this.arrive(data);
    else if ((changed && !(old.person === data.person && this.scanned === data.job)) || chosen) {
      this.empty(old?.job, chosen && !changed);
    }
    this.keep();
    const began = !old || data.round < old.round; // a server that was started again knows of nothing that was sent
    if (began) this.sentAt = -PATIENCE;
    if ((began || data.round >= this.sentRound) && this.sendable().length) {
      if (moved || began) this.flush();
      else setTimeout(() => this.flush(), 2000);
    }
    this.draw();
  }

  dropAnswered(data) {
    const refused = new Map(data.refused.map((told) => [told.id, told]));
    const stored = new Set(data.stored);
    let moved = false;
    for (const entry of [...this.queue]) {
      const told = refused.get(entry.id);
      if (entry.answered || (!told && !stored.has(entry.id))) continue;
      moved = true;
      entry.answered = true;
      if (opensJob(entry) && !told) this.scanned = jobOf(entry.text);
      if (stored.has(entry.id) && entry.kind === "reading" && entry.place) delete this.picked[entry.place[1]];
      if (told && entry.kind === "reading") {
        const place = told.place ?? entry.place;
        if (place && entry.kind === "reading" && !isCorrection(entry.text)) {
          this.returned.push({ ...entry, place, message: told.message, seen: told.seen ?? entry.seen });
        } else {
          this.notices.push(`“${entry.text}” was not stored. ${told.message}`);
        }
      }
    }
    const needed = new Set(this.queue.filter((e) => !e.answered).map((e) => e.after));
    this.queue = this.queue.filter((e) => !e.answered || needed.has(e.id)); // a scan stays for what came after it
    return moved;
  }

  // What was typed after the scan of a job belongs to that job, if it was opened.
  arrive(data) {
    if (this.scanOfJob()) return;
    if (this.target.job !== data.job) this.empty(this.target.job, false);
    else {
      this.target = null;
      this.target = this.text ? this.here() : null;
    }
  }

  stopPutting() {
    this.putting = null;
    this.text = "";
    this.target = null;
  }

  // The job or the place was changed by other means: what was typed before belongs to what was there before.
  empty(job, chose) {
    if (this.text && !this.putting) {
      this.notices.push(`“${this.text}” was not stored: ${chose ? "another place was chosen" : `it was typed for job ${job}`}.`);
    }
    const typing = this.text !== "" && !this.putting;
    this.text = "";
    this.target = null;
    this.putting = null;
    if (typing || performance.now() - this.lastKey < QUIET) this.close();
  }

  // --- where the next key goes ---

  scanOfJob() {
    return this.queue.findLast((e) => opensJob(e) && !e.answered);
  }

  here() {
    if (this.putting) {
      const { item, place, words } = this.putting;
      return this.placeNamed(place) ?? { ...item, place, words, turn: undefined };
    }
    if (this.target) return this.target;
    const scan = this.scanOfJob();
    if (scan) {
      const job = jobOf(scan.text);
      return { after: scan.id, job, place: null, words: `Job ${job}, its next place`, groups: [], answers: [] };
    }
    const data = this.data;
    if (!data?.places) return null;
    if (data.chosen && data.chosen.turn !== this.used && !this.queue.some((e) => e.chosen === data.chosen.turn)) {
      return { ...data.chosen.item, turn: data.chosen.turn };
    }
    const claimed = new Set([...this.queue, ...this.returned].filter((e) => e.place).map((e) => keyOf(e.place)));
    return data.places.find((item) => !claimed.has(keyOf(item.place))) ?? null;
  }

  placeNamed(place) {
    const key = keyOf(place);
    const data = this.data;
    if (data?.chosen && keyOf(data.chosen.item.place) === key) return data.chosen.item;
    return data?.places?.find((item) => keyOf(item.place) === key);
  }

  conditionsAt(item) {
    const code = item.place?.[1];
    const known = this.putting ? this.putting.conditions : (this.data.conditions[code] ?? []);
    return (item.groups ?? []).map((group) => {
      const picked = this.picked[code]?.[group.join("|")];
      return picked ?? known.find((word) => group.includes(word)) ?? (group.length === 1 ? group[0] : null);
    });
  }

  pick(item, group, word) {
    const code = item.place?.[1];
    this.picked[code] = { ...this.picked[code], [group.join("|")]: word };
    this.draw();
  }

  // --- typing ---

  type(text) {
    if (this.text === "" && text !== "" && !this.putting) this.target = this.here();
    this.text = text;
    if (text === "" && !this.putting) this.target = null;
    this.keep();
    this.draw();
  }

  // Enter. True if the text was taken; else it stays, with `fault` saying why.
  enter() {
    const text = this.text.trim();
    this.fault = "";
    if (!text || this.shut || !this.data) return false;
    const code = text.search(/qclog:/i);
    if (code >= 0) {
      if (code > 0) this.notices.push(`“${text.slice(0, code)}” was not stored: a code came in the midst of it.`);
      this.stopPutting();
      return this.scan(text.slice(code));
    }
    const item = this.here();
    const correction = isCorrection(text);
    if (!item && !correction) return this.refuse("No place wants a reading: choose one from the list.");
    if (item && !item.after && !correction) {
      const given = this.conditionsAt(item);
      const said = plainWords(text);
      const group = item.groups?.find((g, i) => !given[i] && !g.some((w) => said.includes(plainWords(w))));
      if (group) {
        const words = group.map((w) => w.replaceAll("_", " ")).join(" or ");
        return this.refuse(`It needs to be recorded with ${words}: press it, or type it after the reading.`);
      }
    }
    const id = newId();
    const scan = this.queue.findLast((e) => e.kind === "scan" && !e.answered);
    this.push({
      id,
      kind: "reading",
      text,
      place: correction ? null : (item.place ?? null),
      words: item?.words ?? "",
      item: item?.place && !correction ? item : null,
      gauge: item?.place ? (this.data.gauges[item.gauge_kind ?? ""] ?? null) : null,
      gauge_kind: item?.gauge_kind ?? null,
      conditions: item?.place ? this.conditionsAt(item).filter(Boolean) : [],
      seen: this.putting ? this.putting.seen : (item?.seen ?? null),
      chosen: correction ? null : (item?.turn ?? null),
      after: scan?.id ?? null,
      before: correction && this.before?.job === this.data.job ? this.before.id : null,
      job: this.data.job,
      person: this.data.person,
    });
    if (item?.turn !== undefined && !correction) this.used = item.turn;
    if (this.putting && !correction) this.returned = this.returned.filter((e) => e !== this.putting);
    this.putting = null; // a correction is of what came before; what was refused comes back after it
    this.before = { id, job: this.data.job };
    this.text = "";
    this.target = null;
    this.done();
    return true;
  }

  refuse(fault) {
    this.fault = fault;
    this.draw();
    return false;
  }

  scan(text) {
    if (isJobScan(text) && this.text) this.empty(this.data?.job, false);
    this.push({ id: newId(), kind: "scan", text: text.trim(), on: this.data?.page ?? null, person: this.data?.person ?? null });
    this.shut = this.data?.places ? this.shut : true;
    this.done();
    return true;
  }

  // The place at hand is left for later.
  skip() {
    const item = this.here();
    if (this.shut || !item?.place) return;
    this.leave();
    this.text = "";
    this.target = null;
    if (item.turn !== undefined) this.used = item.turn;
    this.push({ id: newId(), kind: "skip", text: "", place: item.place, words: item.words, person: this.data.person });
    this.done();
  }

  // A refused entry is given up, which is said.
  leave() {
    if (!this.putting) return;
    this.notices.push(`“${this.putting.text}” was not stored (${this.putting.words}).`);
    this.returned = this.returned.filter((e) => e !== this.putting);
    this.stopPutting();
    this.keep();
    this.draw();
  }

  push(entry) {
    this.queue.push({ ...entry, at: Date.now() + (this.ahead ?? 0) });
  }

  done() {
    this.keep();
    this.flush();
    this.draw();
  }

  // --- sending ---

  sendable() {
    const person = this.data?.person;
    return this.queue.filter((e) => !e.answered && (e.kind === "scan" || (person && e.person === person)));
  }

  flush() {
    if (!this.setState || !this.data) return;
    const waits = this.sentRound > this.data.round && performance.now() - this.sentAt < PATIENCE;
    if (waits || !this.sendable().length) return;
    this.sentRound += 1;
    this.sentAt = performance.now();
    const person = this.data.person;
    const own = this.queue.filter((e) => e.kind === "scan" || e.person === person);
    const entries = own.map(({ item, ...entry }) => entry);
    this.setState("queue", { round: this.sentRound, entries });
  }

  get slow() {
    return this.sendable().length > 0 && this.sentRound > this.data.round && performance.now() - this.sentAt > SLOW;
  }

  // --- open and shut ---

  // A field drawn anew: of what was in it before, keys may have gone by.
  begin() {
    if (this.text && !this.putting) {
      this.notices.push(`“${this.text}” was not entered before the field went away.`);
      this.text = "";
      this.target = null;
    }
    this.shut = true;
  }

  close() {
    this.shut = true;
    this.draw();
  }

  tick() {
    const now = performance.now();
    const quiet = now - this.lastKey >= QUIET && (!this.shut || now - this.lostKey >= LONG_QUIET);
    if (this.shut && quiet && this.data?.places) {
      this.shut = false;
      if (this.swallowed) this.notices.push(`“${this.swallowed}” was not taken: the field was shut. Type it again.`);
      this.swallowed = "";
      this.draw();
    }
    const busyElsewhere = typesText(document.activeElement) && document.activeElement !== this.input;
    if (!this.shut && quiet && !busyElsewhere && !this.text && !this.putting && !this.scanOfJob()) {
      const back = this.returned.find((e) => e.place[0] === this.data?.job && e.person === this.data?.person);
      if (back && !this.queue.some((e) => !e.answered && keyOf(e.place) === keyOf(back.place))) {
        this.putting = back;
        this.text = back.text;
        this.draw();
      }
    }
    const slow = this.data ? this.slow : false;
    if (slow !== this.wasSlow) this.draw();
    this.wasSlow = slow;
    if (this.data && this.sentRound > this.data.round && performance.now() - this.sentAt > PATIENCE) this.flush();
  }

  // --- kept over a reload ---

  restore(log) {
    this.store = `qclog:${log}`;
    let kept = {};
    try {
      kept = JSON.parse(sessionStorage.getItem(this.store) ?? "{}");
    } catch {
      kept = {}; // not ours, or cut off: nothing can be made of it
    }
    const have = new Set(this.queue.map((e) => e.id));
    this.queue = [...(kept.queue ?? []).filter((e) => !have.has(e.id)), ...this.queue];
    this.returned = kept.returned ?? [];
    this.notices = kept.notices ?? [];
    if (kept.text) this.notices.push(`“${kept.text}” was typed and not entered before the page was loaded again.`);
  }

  keep() {
    if (!this.store) return;
    const { queue, returned, notices } = this;
    const text = this.putting ? "" : this.text;
    try {
      sessionStorage.setItem(this.store, JSON.stringify({ queue, returned, notices, text }));
    } catch (error) {
      if (!this.unkept) this.notices.push(`This browser keeps nothing over a reload (${error.name}).`);
      this.unkept = true;
    }
  }
}
