// Work without a signal: what this device carries, the scans that it keeps, and sending them. The server decides about
// each scan when it hears of it; what is answered here is what the device can know.
"use strict";
const root = document.getElementById("carried");
const STORE = "carried";
const OLD_HOURS = 12;
const WAIT_MS = 45000; // for one answer
const PORTION = 100; // scans that are sent at once: each is booked by itself
const NM = { in: 25400000n, mm: 1000000n };
const kept = { number: "", device: "", carries: null, loaded: "", queue: [], unsettled: [], unsigned: [], also: [], counted: {}, ...stored() };
const walk = {}; // what was scanned of the step that is on the page
let told = null; // the answer to what was done last
let sending = false;
let reader = null; // of codes in pictures, where the browser has one
let touched = 0; // grows with all that is typed or done here

class Refused extends Error {
  constructor(word, sentence) { super(sentence); this.word = word; }
}
function refuse(word, sentence) { throw new Refused(word, sentence); }
function say(word, sentence, no = false) { told = { word, sentence, no }; }

function stored() {
  try { return JSON.parse(localStorage.getItem(STORE) ?? "{}"); } catch { return {}; }
}
function keep() {
  localStorage.setItem(STORE, JSON.stringify(kept));
}

// --- building what is seen
function el(name, given = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(given)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value !== false && value !== undefined) made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...inside.flat(2).filter((part) => part !== null && part !== undefined && part !== ""));
  return made;
}
function field(name, label, given = {}) {
  const id = `f-${name}`;
  const input = el("input", { id, name, autocomplete: "off", spellcheck: "false", required: true, ...given });
  return el("p", {}, el("label", { for: id }, label), input);
}
// A field to scan into. Where the browser can read codes, they are photographed as well: no picture leaves the device.
function scanned(name, label, given = {}) {
  const row = field(name, label, given);
  if (!reader) return [row, el("p", {}, el("small", {}, "This browser reads no codes from pictures: scan, or type what stands beside the code."))];
  const id = `photo-${name}`, found = el("span", {});
  const choose = (text) => {
    const input = row.querySelector("input");
    input.value = text;
    if (given.autofocus) input.form.requestSubmit();
  };
  const read = async (event) => {
    const codes = await codesIn(event.target.files[0]);
    if (codes.length === 1) return choose(codes[0]);
    found.replaceChildren(...codes.map((text) => el("button", { type: "button", onclick: () => choose(text) }, text)));
    if (!codes.length) act(() => refuse("NO CODE FOUND", "Go closer, give it light from the side, hold still; or type what stands beside the code."));
    else act(() => refuse("WHICH CODE", `${codes.length} codes are in the picture: press the one that is meant.`));
  };
  return [row, el("p", { class: "photo" }, el("label", { for: id }, "Photograph the code"), el("input", { id, type: "file", accept: "image/*", capture: "environment", onchange: read }), found)];
}
async function codesIn(picture) {
  try {
    return [...new Set((await reader.detect(await createImageBitmap(picture))).map((one) => one.rawValue))].filter(Boolean);
  } catch { return []; } // no picture, or more than the browser can take
}
async function findReader() {
  const known = await globalThis.BarcodeDetector?.getSupportedFormats() ?? [];
  const formats = ["qr_code", "data_matrix", "code_128"].filter((one) => known.includes(one));
  if (!formats.length) return;
  reader = new BarcodeDetector({ formats });
  render();
}
function choice(name, label, options, chosen = options[0]?.[0]) {
  const rows = options.map(([value, words]) => el("label", { class: "choice" },
    el("input", { type: "radio", name, value, required: true, checked: value === chosen }), words));
  return el("fieldset", {}, el("legend", {}, label), rows);
}
function form(button, deed, ...inside) {
  const sent = (event) => {
    event.preventDefault();
    const given = new FormData(event.target);
    act(() => deed((name) => (given.get(name) ?? "").trim(), given));
  };
  return el("form", { class: "steps", onsubmit: sent }, inside, el("p", {}, el("button", { class: "go" }, button)));
}
function press(words, deed, given = {}) {
  return el("button", { type: "button", onclick: () => act(deed), ...given }, words);
}
function go(words, ...parts) {
  return el("a", { class: "button step", href: `#${parts.map(encodeURIComponent).join("/")}` }, words);
}
function act(deed) {
  told = null;
  touched += 1;
  try {
    deed();
    keep();
  } catch (problem) {
    if (!tell(problem)) throw problem;
    if (problem instanceof Refused) return renderTop();
  }
  render();
}
function tell(problem) {
  if (problem instanceof Refused) say(problem.word, problem.message, true);
  else if (problem.name === "QuotaExceededError") {
    say("NOT KEPT", "This device has no room left: write it down, and send what it holds.", true);
    told.stays = true;
  } else return false;
  return true;
}

// --- reading what is typed or scanned
const plain = (text) => text.toUpperCase().replace(/[^0-9A-Z]/g, "");
const bare = (thousandths) => String(thousandths / 1000);
function thousandths(text, zero = false) {
  const found = /^(\d{1,6})(?:[.,](\d{1,3}))?$/.exec(text);
  const value = found ? Number(found[1]) * 1000 + Number((found[2] ?? "").padEnd(3, "0")) : NaN;
  if (!found || (!value && !zero)) refuse("HOW MANY", `${text || "nothing"} is no number of pieces.`);
  return value;
}
// GS1 element strings: with the identifiers in brackets, or as a scanner sends them with the group separator.
const FIXED = { "01": 14, 11: 6, 13: 6, 15: 6, 17: 6 };
function readCarton(text) {
  const found = {};
  if (/^\(\d{2,4}\)/.test(text)) {
    for (const [, name, value] of text.matchAll(/\((\d{2,4})\)([^(]*)/g)) found[name] = value;
  } else if (/^\]C1|^\]d2|^\]Q3|\x1d/.test(text)) {
    let rest = text.replace(/^\](C1|d2|Q3)/, "").replace(/^\x1d/, "");
    while (rest) {
      const name = rest.startsWith("241") ? "241" : rest.slice(0, 2);
      const size = FIXED[name];
      const value = size ? rest.slice(name.length, name.length + size) : rest.slice(name.length).split("\x1d")[0];
      found[name] = value;
      rest = rest.slice(name.length + value.length).replace(/^\x1d/, "");
    }
  }
  if (found["01"] && !found["241"]) refuse("CAN'T TELL", "Without a signal a carton's item number is not known: type the stock code.");
  return { code: found["241"] ?? (Object.keys(found).length ? "" : text), lot: found["10"] ?? "", count: Number(found["30"] ?? found["37"] ?? 0) };
}

// --- what the device keeps
function record(name, content) {
  kept.queue.push({
    name, content, action: `C-${crypto.randomUUID()}`, device_at: new Date().toISOString(), by: kept.carries.person.sign_in,
  });
}
function moveOn(bag, task) { bag.state = kept.carries.leads[bag.state]?.[task] ?? bag.state; }
function may(bag, task) { return bag.tasks.includes(task) && task in (kept.carries.leads[bag.state] ?? {}); }
function take(bag, code, lot, pieces) {
  const row = bag.inside.find((one) => one.stock_code === code && one.lot === lot);
  if (!row || row.quantity < pieces) refuse("NOT IN THE BAG", `${bag.name} holds ${bare(row?.quantity ?? 0)} ${code} lot ${lot || "unknown"}.`);
  row.quantity -= pieces;
  bag.inside = bag.inside.filter((one) => one.quantity);
}
function bagOf(text) {
  const read = plain(text);
  return kept.carries.bags.find((bag) => read.includes(plain(bag.code)));
}
function carryToo(text) { if (!kept.also.includes(text)) kept.also.push(text); }

async function ask(address, token = "", body = null) {
  const sent = body && { method: "POST", headers: { "Content-Type": "application/json", "X-CSRFToken": token }, body: JSON.stringify(body) };
  const answered = await fetch(address, { redirect: "manual", signal: AbortSignal.timeout(WAIT_MS), ...sent });
  if (answered.type === "opaqueredirect") refuse("SIGN IN", "Sign in first, on the page Today; what is kept stays on this device.");
  const json = answered.headers.get("content-type")?.startsWith("application/json") ? await answered.json() : null;
  if (!json || json.problem) refuse("NOT SENT", json?.problem ?? `The server answered ${answered.status}; what is kept stays on this device.`);
  return json;
}
// In portions, in the order in which they were made: what was answered is over, whatever becomes of the next portion.
async function sendAll(token, sums) {
  const queue = [...kept.queue];
  for (let from = 0; from < queue.length; from += PORTION) {
    const booked = await ask(root.dataset.scans, token, {
      number: kept.number, device: kept.device || "unnamed device", device_now: new Date().toISOString(), scans: queue.slice(from, from + PORTION),
    });
    const over = new Set([...booked.applied, ...booked.known, ...Object.keys(booked.kept)]);
    kept.unsettled.push(...kept.queue.filter((one) => one.action in booked.kept).map((one) => `${one.name}: ${booked.kept[one.action]}`));
    const fitted = kept.queue.filter((one) => one.name === "install" && [...booked.applied, ...booked.known].includes(one.action));
    kept.unsigned = [...new Set([...kept.unsigned, ...fitted.map((one) => one.content.bag)])];
    kept.queue = kept.queue.filter((one) => !over.has(one.action));
    keep();
    for (const name of ["applied", "known", "others"]) sums[name] += booked[name].length;
    sums.wrong += Object.keys(booked.kept).length;
    sums.nameless += booked.without_number;
    renderTop();
  }
}
async function sendAndLoad() {
  if (sending) return;
  sending = true;
  told = null;
  renderTop();
  const before = touched, sends = kept.queue.length > 0, sums = { applied: 0, known: 0, others: 0, wrong: 0, nameless: 0 };
  let draw = renderTop;
  try {
    kept.number ||= crypto.randomUUID();
    const { csrf } = await ask(root.dataset.token);
    if (sends) await sendAll(csrf, sums);
    const fresh = await ask(root.dataset.bags, csrf, { number: kept.number, device: kept.device, also: kept.also });
    if (sends) {
      say(sums.wrong ? `${sums.wrong} ${sums.wrong === 1 ? "NEEDS" : "NEED"} A PERSON` : "SENT", `${sums.applied} booked, ${sums.known} known already.`
        + (sums.others ? ` ${sums.others} wait for who made them to sign in.` : "")
        + (sums.nameless ? ` ${sums.nameless} have no number and stay here: show them to stores.` : ""), sums.wrong > 0);
    } else say("LOADED", `${fresh.bags.length} ${fresh.bags.length === 1 ? "bag is" : "bags are"} on this device.`);
    if (touched === before) {
      kept.carries = fresh;
      kept.loaded = new Date().toISOString();
      const unknown = kept.also.filter((text) => !bagOf(text));
      if (unknown.length) say(told.word, `${told.sentence} No bag for you to carry: ${unknown.join(", ")}.`, true);
      kept.also = kept.also.filter(bagOf);
      clear();
      draw = render;
      keep();
    } else say(told.word, `${told.sentence} You went on meanwhile, so this device carries what it did: load again.`, true);
  } catch (problem) {
    if (!tell(problem)) lost(problem, sums);
  }
  sending = false;
  draw();
}
function lost(problem, sums) {
  const why = problem.name === "TimeoutError" ? `The signal was lost: no answer within ${WAIT_MS / 1000} seconds.` : "The server did not answer.";
  const booked = sums.applied + sums.known ? ` ${sums.applied + sums.known} were booked before that.` : "";
  say("NO SIGNAL", `${why}${booked} Nothing is lost: what is kept stays on this device, and what is sent twice is booked once.`, true);
}

// --- the tasks
const VIEWS = {
  pick(bag) {
    const step = bag.steps.find((one) => !one.skipped);
    if (!step) return [el("p", {}, "Nothing more to pick that this device knows of."), bag.missing.length && may(bag, "finish") ? go("All there is", bag.code, "finish") : null];
    const asks = !walk.place ? "Scan the bin" : !walk.item ? "Scan the carton, or type the stock code" : step.lot && !walk.lot ? "Scan or type the lot" : "How many go in";
    const shown = el("section", { class: "now", "aria-label": "This step" },
      el("p", { class: "bin" }, step.place[1]), el("p", { class: "thing" }, el("strong", {}, step.what), ` ${step.stock_code}`),
      el("p", {}, `lot ${step.lot || "unknown"}, use by ${step.use_by || "no date"}`),
      el("p", { class: "thing" }, "take ", el("strong", {}, bare(step.quantity)), ` ${step.unit}${step.spare ? " as spare" : ""}`));
    const skip = press("Skip this one", () => { step.skipped = true; clear(); });
    if (step.held) return [shown, el("p", { class: "no" }, el("strong", {}, "HELD"), "A hold stops this lot."), skip];
    return [shown, form("Go on", (get) => picked(bag, step, get("read")), asks.startsWith("How") ? field("read", asks, { autofocus: true, value: bare(step.quantity) }) : scanned("read", asks, { autofocus: true })), skip];
  },
  finish: (bag) => [
    el("p", {}, `Missing: ${bag.missing.map((one) => `${bare(one.quantity)} ${one.stock_code}`).join(", ")}.`),
    form("That is all there is", (get) => {
      if (get("cause") === "other" && !get("why")) refuse("SAY WHY", "Another cause needs words.");
      record("finish short", { bag: bag.code, cause: get("cause"), why: get("why") });
      done(bag, "finish", "SHORT", "Have it checked by another person.");
    }, choice("cause", "Why it is short", kept.carries.causes, null), field("why", "In words", { required: false })),
  ],
  check(bag) {
    if (bag.pickers.some((name) => name.toLowerCase() === kept.carries.person.name.toLowerCase())) {
      return [el("p", { class: "no" }, el("strong", {}, "ANOTHER PERSON"), `${kept.carries.person.name} filled it. Without a signal another person checks it with a device of their own.`)];
    }
    const counted = kept.counted[bag.code] ?? {};
    const sum = Object.values(counted).reduce((all, one) => all + one, 0);
    return [el("p", {}, "Look into the bag, not at a list."), el("p", { class: "thing" }, "counted ", el("strong", {}, bare(sum))),
      form("Count it", (get) => {
        const carton = readCarton(get("read"));
        if (!carton.code) refuse("CAN'T TELL", "Scan a piece, or type its stock code.");
        const pieces = get("quantity") ? thousandths(get("quantity")) : (carton.count || 1) * 1000;
        const code = carton.code.toUpperCase();
        kept.counted[bag.code] = { ...counted, [code]: (counted[code] ?? 0) + pieces };
        say(`+ ${bare(pieces)}`, code);
      }, scanned("read", "Scan a piece, or type a stock code", { autofocus: true }), field("quantity", "How many, if not one", { required: false, inputmode: "decimal" })),
      el("div", { class: "row" }, press("That is all that is inside", () => checked(bag, counted), { class: "go" }), press("Count again from nothing", () => { delete kept.counted[bag.code]; }))];
  },
  stage: (bag) => [form("Put it there", (get) => {
    record("stage", { bag: bag.code, rack: get("rack") });
    bag.at = get("rack");
    done(bag, "stage", "PLACED", `${bag.name} at ${bag.at}.`);
  }, scanned("rack", "Scan the rack place", { autofocus: true }))],
  issue(bag) {
    if (bag.missing.length || bag.undecided.length) return [el("p", { class: "no" }, el("strong", {}, "SHORT – NEEDS SUPERVISOR"), "A short bag goes out by planner or duty supervisor only; that needs a signal.")];
    return [form("Out with the crew", (get) => {
      record("issue", { bag: bag.code, crew: get("crew"), truck: get("truck"), signature: get("signature") });
      bag.at = `truck ${get("truck")}`;
      done(bag, "issue", "OUT", `${bag.name} with ${get("crew")}.`);
    }, field("crew", "Crew", { autofocus: true }), field("truck", "Truck"), field("signature", "Signed for the crew by (name)"))];
  },
  "begin work": (bag) => [el("p", {}, "The outage has started and the bag is opened."), press("Begin", () => {
    record("begin work", { bag: bag.code });
    done(bag, "begin work", "IN WORK", bag.name);
  }, { class: "go" })],
  install: (bag) => [el("p", {}, "Note what is fitted. It is signed for once it is sent: no PIN can be proved here."), ...bag.ends.map((end, at) => el("section", { class: "now" }, el("h2", {}, `${end.name}: ${end.stock_code}`), end.done ? el("p", {}, end.done) : null,
    end.phases.length && end.lots.length ? form("Note it", (get, given) => installed(bag, end, at, get, given.getAll("phase")),
      end.phases.map((phase) => el("label", { class: "choice" }, el("input", { type: "checkbox", name: "phase", value: phase, checked: end.phases.length === 1 }), phase === "all" ? "fitted" : `phase ${phase}`)),
      end.lots.length > 1 ? choice("lot", "Which lot", end.lots.map((lot) => [lot, `lot ${lot || "unknown"}`])) : el("p", {}, `lot ${end.lots[0] || "unknown"}`),
      field(`quantity-${at}`, "Pieces each", { value: end.each, inputmode: "decimal" }),
      field(`gauge-${at}`, "Gauge reading, with its unit", { required: false }), end.asks_where ? field(`position-${at}`, "Where it went", { required: false }) : null) : el("p", {}, "Nothing is left to note.")))],
  "turn in": (bag) => [form("Turn it in", (get) => turnedIn(bag, get), pieceOf(bag), field("quantity", "How many", { value: "1", inputmode: "decimal" }),
    choice("condition", "Condition", [["sealed", "sealed"], ["opened", "opened"]]),
    choice("door", "Where it goes", [["stock", "back to stock"], ["inspect", "to inspection"], ["scrap", "to scrap"], ["supplier", "to the supplier"]]),
    scanned("place", "Scan the bin, or the hold place for inspection", { required: false }), field("why", "Why, where it is scrapped", { required: false }))],
  "write off": (bag) => [form("Note it", (get) => {
    const [code, lot] = pieceChosen(bag, get), pieces = thousandths(get("quantity"));
    take(bag, code, lot, pieces);
    record("write off", { bag: bag.code, stock_code: code, lot, quantity: pieces, deed: get("deed"), why: get("why") });
    done(bag, "write off", "NOTED", `${bare(pieces)} ${code}: ${get("deed")}.`);
  }, pieceOf(bag), field("quantity", "How many", { value: "1", inputmode: "decimal" }), choice("deed", "What became of it", [["scrapped", "dropped, damaged or wrong"], ["lost", "lost or missing"]]), field("why", "In words"))],
  fit: (bag) => [form("Does it fit?", (get) => measured(bag.fits[Number(get("part"))], get("reading"), get("unit")),
    choice("part", "Which part", bag.fits.map((one, at) => [String(at), `${one.where} ${one.stock_code}${bag.fits.filter((two) => two.where === one.where && two.stock_code === one.stock_code).length > 1 ? ` side ${one.side}` : ""}, over ${one.over}: ${one.word} by the plan`])),
    field("reading", "Gauge reading", { autofocus: true, inputmode: "decimal" }), choice("unit", "Unit", [["in", "in"], ["mm", "mm"]])),
  el("p", {}, `Ranges and rules as of ${kept.carries.as_of}; rules ${kept.carries.rules}.`)],
};
const NAMES = {
  pick: "Pick", finish: "All there is", check: "Check", stage: "Put in its rack place", issue: "Issue to a crew", "begin work": "Begin the work",
  install: "Note what is installed", "turn in": "Turn in what came back", "write off": "Dropped, damaged, lost",
};

function clear() { for (const name of Object.keys(walk)) delete walk[name]; }
function done(bag, task, word, sentence) {
  moveOn(bag, task);
  clear();
  say(word, sentence);
  told.stays = true;
  location.hash = encodeURIComponent(bag.code);
}
function picked(bag, step, text) {
  const [depot, place] = step.place;
  if (!walk.place) {
    if (text.replace(`${depot}/`, "").toUpperCase() !== place.toUpperCase()) refuse("WRONG BIN", `This is ${text}; go to ${place}.`);
    walk.place = true;
    return say("RIGHT BIN", place);
  }
  const asksLot = walk.item && step.lot && !walk.lot;
  const carton = walk.item ? { lot: asksLot ? text : "" } : readCarton(text);
  if (!walk.item && carton.code.toUpperCase() !== step.stock_code.toUpperCase()) refuse("WRONG ITEM", `This is ${carton.code || text}; take ${step.stock_code}.`);
  if (carton.lot && carton.lot !== step.lot) refuse("WRONG LOT", `This is lot ${carton.lot}; without a signal take lot ${step.lot || "unknown"}, or leave it for later.`);
  if (!walk.item || asksLot) {
    walk.item = true;
    walk.lot = Boolean(carton.lot);
    return say("RIGHT", step.stock_code);
  }
  const pieces = thousandths(text);
  if (pieces > step.quantity) refuse("TOO MANY", `${bag.name} wants ${bare(step.quantity)} from here.`);
  record("pick", { bag: bag.code, stock_code: step.stock_code, lot: step.lot, place: step.place, quantity: pieces, as_spare: step.spare });
  step.quantity -= pieces;
  bag.steps = bag.steps.filter((one) => one.quantity);
  const row = bag.inside.find((one) => one.stock_code === step.stock_code && one.lot === step.lot);
  if (row) row.quantity += pieces;
  else bag.inside.push({ stock_code: step.stock_code, what: step.what, lot: step.lot, quantity: pieces });
  const wanted = bag.missing.find((one) => one.stock_code === step.stock_code);
  if (wanted) wanted.quantity -= Math.min(wanted.quantity, pieces);
  bag.missing = bag.missing.filter((one) => one.quantity);
  bag.pickers = [...new Set([...bag.pickers, kept.carries.person.name])];
  moveOn(bag, "pick");
  clear();
  say("RIGHT", `${bare(pieces)} ${step.stock_code} in ${bag.name}.`);
}
function checked(bag, counted) {
  const inside = {};
  for (const one of bag.inside) inside[one.stock_code] = (inside[one.stock_code] ?? 0) + one.quantity;
  const codes = [...new Set([...Object.keys(inside), ...Object.keys(counted)])].sort();
  const wrong = codes.filter((code) => (inside[code] ?? 0) !== (counted[code] ?? 0)).map((code) => {
    const more = (counted[code] ?? 0) - (inside[code] ?? 0);
    return `${more > 0 ? "EXTRA" : "MISSING"} ${bare(Math.abs(more))} ${code}`;
  });
  if (wrong.length) refuse(wrong[0], `${bag.name}: ${wrong.join("; ")}.`);
  record("check", { bag: bag.code, counted });
  delete kept.counted[bag.code];
  done(bag, "check", bag.missing.length || bag.undecided.length ? "SHORT" : "FULL", bag.name);
}
function installed(bag, end, at, get, phases) {
  if (!phases.length) refuse("NOTHING TICKED", "Tick the phases that are done.");
  const lot = end.lots.length > 1 ? get("lot") : end.lots[0], each = thousandths(get(`quantity-${at}`));
  take(bag, end.stock_code, lot, each * phases.length);
  const facts = { gauge: get(`gauge-${at}`), remark: "", position: get(`position-${at}`) };
  record("install", { bag: bag.code, pieces: phases.map((phase) => ({ line: end.line, stock_code: end.stock_code, lot, quantity: each, phase: phase === "all" ? "" : phase, ...facts })) });
  end.phases = end.phases.filter((phase) => !phases.includes(phase));
  end.lots = end.lots.filter((one) => bag.inside.some((row) => row.stock_code === end.stock_code && row.lot === one));
  end.fitted += each * phases.length;
  moveOn(bag, "install");
  say(end.wanted ? `${bare(end.fitted)} OF ${bare(end.wanted)} DONE` : "DONE", `${end.name}: ${phases.join(", ")} noted; ${end.phases.length ? `${end.phases.join(", ")} still open` : "all of it"}.`);
}
function stillOpen(bag) {
  const sums = {};
  for (const row of bag.inside) sums[row.stock_code] = (sums[row.stock_code] ?? 0) + row.quantity;
  return Object.keys(sums).sort().map((code) => `${bare(sums[code])} ${code}`).join(" ");
}
function turnedIn(bag, get) {
  const [code, lot] = pieceChosen(bag, get), pieces = thousandths(get("quantity")), door = get("door"), place = get("place").replace(`${bag.depot}/`, "");
  const kind = { stock: "bin", inspect: "hold" }[door];
  if (kind && !place) refuse("WHERE", "Scan the place that it goes to.");
  if (door === "scrap" && !get("why")) refuse("SAY WHY", "Scrapping needs a reason.");
  take(bag, code, lot, pieces);
  record("turn in", { bag: bag.code, stock_code: code, lot, quantity: pieces, condition: get("condition"), door, place: kind ? [bag.depot, place, kind] : null, why: get("why") });
  moveOn(bag, "turn in");
  say(bag.inside.length ? `${stillOpen(bag)} STILL OPEN` : "BALANCED", `${bare(pieces)} ${code}: ${door}.`);
}
function measured(part, reading, unit) {
  const found = /^(\d+)(?:[.,](\d{1,5}))?$/.exec(reading);
  if (!found) refuse("CAN'T TELL", `${reading} is no reading: type it as a decimal number.`);
  const digits = found[2] ?? "";
  const nm = BigInt(found[1] + digits) * NM[unit] / 10n ** BigInt(digits.length);
  const cables = kept.carries.cables;
  if (part.over === "insulation" && (nm < BigInt(cables.low) || nm > BigInt(cables.high))) refuse("CHECK THE UNIT", `${reading} ${unit} is outside ${cables.range}, what cables measure over insulation.`);
  const away = nm < BigInt(part.low) ? "large" : nm > BigInt(part.high) ? "small" : "";
  const gap = away === "large" ? BigInt(part.low) - nm : nm - BigInt(part.high);
  if (away) refuse("DOES NOT FIT", `${part.stock_code} at ${part.where} is too ${away} by ${mm(gap)} mm; it holds ${part.range}.`);
  say("FITS", `${part.stock_code} at ${part.where}: ${mm(nm - BigInt(part.low))} mm above its least, ${mm(BigInt(part.high) - nm)} mm below its most; it holds ${part.range}.`);
}
const mm = (nm) => `${nm / NM.mm}.${String(nm % NM.mm).padStart(6, "0").slice(0, 2)}`;
const pieceOf = (bag) => choice("piece", "Which piece", bag.inside.map((one, at) => [String(at), `${bare(one.quantity)} ${one.stock_code} ${one.what}, lot ${one.lot || "unknown"}`]));
function pieceChosen(bag, get) {
  const row = bag.inside[Number(get("piece"))];
  if (!row || !get("piece")) refuse("NOTHING LEFT", `Nothing is left in ${bag.name}.`);
  return [row.stock_code, row.lot];
}

// --- count lists, blind
function countView(list) {
  const line = list.lines.find((one) => !one.skipped);
  if (!line) return [el("p", {}, "All that waits on this list was counted on this device.")];
  const note = (pieces) => {
    record("count", { count_list: list.number, line: line.position, counted: pieces });
    list.lines = list.lines.filter((one) => one !== line);
    clear();
    say("COUNTED", `${line.place}; the next.`);
  };
  const shown = el("section", { class: "now" }, el("p", { class: "bin" }, line.place), line.stock_code ? el("p", { class: "thing" }, el("strong", {}, line.part), ` ${line.stock_code} lot ${line.lot || "unknown"}`) : null,
    line.pack ? el("p", {}, line.pack) : null);
  const skip = press("Leave it for later", () => { line.skipped = true; clear(); });
  if (line.bag) return [shown, el("p", {}, `Bag ${line.bag}`), el("div", { class: "row" }, press("It is here", () => note(1000), { class: "go" }), press("It is not here", () => note(0))), skip];
  if (!walk.place) {
    return [shown, form("Go on", (get) => {
      if (get("read").split("/").pop().toUpperCase() !== line.place.toUpperCase()) refuse("WRONG PLACE", `This is ${get("read")}; go to ${line.place}.`);
      walk.place = true;
      say("RIGHT PLACE", line.place);
    }, scanned("read", "Scan the place", { autofocus: true })), skip];
  }
  return [shown, form("That many", (get) => note(thousandths(get("read"), true)), field("read", `How many ${line.unit} lie there; 0 for none`, { autofocus: true, inputmode: "decimal" })), skip];
}

// --- the page
function render() {
  const [code, task] = location.hash.slice(1).split("/").map(decodeURIComponent);
  const list = kept.carries?.counts.find((one) => `count ${one.number}` === code);
  const bag = kept.carries?.bags.find((one) => one.code === code);
  root.replaceChildren(...[head(), answered(), ...(list ? [el("h2", {}, `Count ${list.number}, depot ${list.depot}`), ...countView(list), go("Back to the list", "")]
    : bag ? bagView(bag, task) : listView())].filter(Boolean));
  heard();
}
// The head and the answer only: what was typed stays where it is.
function renderTop() {
  const [above, answer] = root.children;
  above.replaceWith(head());
  answer.replaceWith(answered());
  heard();
}
function heard() {
  root.querySelector("[autofocus]")?.focus();
  root.querySelector("[autofocus]")?.select();
  if (!told || told.heard) return;
  told.heard = true;
  root.querySelector(".told").scrollIntoView({ block: "nearest" });
  sound(told.no);
}
function answered() {
  return el("div", { class: "told", role: "status" }, told ? el("p", { class: told.no ? "no" : "yes" }, el("strong", {}, told.word), told.sentence) : null);
}
function head() {
  const hours = kept.loaded ? (Date.now() - Date.parse(kept.loaded)) / 3600000 : 0;
  const old = hours > OLD_HOURS ? el("p", { class: "no" }, el("strong", {}, "OLD"), `This device was loaded ${Math.floor(hours)} hours ago: the books have gone on.`) : null;
  const waits = kept.queue.length ? el("p", { class: "ask" }, `${kept.queue.length} ${kept.queue.length === 1 ? "scan waits" : "scans wait"} to be sent.`) : null;
  const person = kept.unsettled.length ? el("details", { open: true }, el("summary", {}, `${kept.unsettled.length} need a person: on the page Exceptions`),
    el("ul", {}, kept.unsettled.map((one) => el("li", {}, one))), press("Seen", () => { kept.unsettled = []; })) : null;
  const sign = kept.unsigned.length ? el("details", { open: true }, el("summary", {}, "To be signed: what was installed"), el("p", {}, "It is booked. Who fitted it signs with name and PIN for what the books hold:"),
    kept.unsigned.map((code) => el("p", {}, el("a", { class: "button step", href: root.dataset.sign.replace("BAG", encodeURIComponent(code)) }, `Sign for ${kept.carries?.bags.find((one) => one.code === code)?.name ?? code}`))),
    press("Signed, or seen", () => { kept.unsigned = []; })) : null;
  return el("div", {}, el("p", {}, kept.carries ? `Stock as of ${kept.carries.as_of}, for ${kept.carries.person.name}.` : "This device carries nothing yet."), old, waits, person, sign,
    el("p", {}, el("button", { type: "button", class: "go", disabled: sending, onclick: sendAndLoad }, sending ? "Asking the server" : kept.queue.length ? "Send, and load again" : "Load")));
}
function listView() {
  if (!kept.carries) return [el("p", {}, "Press Load where there is a signal: bags that are out, or whose cutover is near, and count lists then stay on this device, and scans are kept until they are sent.")];
  const find = form("Find", (get) => {
    const found = bagOf(get("read"));
    if (found) location.hash = encodeURIComponent(found.code);
    else {
      carryToo(get("read"));
      say("NOT CARRIED", `${get("read")} is not on this device. It is loaded with the rest where there is a signal; what is carried stands below.`, true);
    }
  }, scanned("read", "Scan a bag", { autofocus: true }));
  const bags = kept.carries.bags.map((bag) => el("li", {}, go(`${bag.name}: ${bag.state.toUpperCase()}`, bag.code), el("small", {}, [bag.cutover.slice(0, 10) || "no date", bag.at, bag.stops.join("; ")].filter(Boolean).join(", "))));
  const counts = kept.carries.counts.map((one) => el("li", {}, go(`Count ${one.number}: ${one.lines.length} to count`, `count ${one.number}`)));
  return [find, el("h2", {}, "Bags"), bags.length ? el("ul", { class: "deeds" }, bags) : el("p", {}, "None."), kept.carries.left_out ? el("p", {}, `${kept.carries.left_out} more are not carried: scan those that you need.`) : null,
    counts.length ? el("h2", {}, "Counts") : null, counts.length ? el("ul", { class: "deeds" }, counts) : null,
    form("Call it so", (get) => { kept.device = get("device"); say("KEPT", `This device is called ${kept.device}.`); }, field("device", "What this device is called", { value: kept.device }))];
}
function bagView(bag, task) {
  const stops = bag.stops.length ? el("p", { class: "no" }, el("strong", {}, "STOP"), bag.stops.join("; ")) : null;
  const title = el("h2", {}, `${bag.name} rev ${bag.revision || "–"}, ${bag.state}`);
  if (task in VIEWS) return [title, el("h3", {}, NAMES[task] ?? "Does it fit?"), stops, ...VIEWS[task](bag), go("Back to the bag", bag.code)];
  const tasks = Object.keys(NAMES).filter((name) => may(bag, name) && (name !== "finish" || bag.missing.length));
  const inside = bag.inside.map((one) => el("li", {}, `${bare(one.quantity)} ${one.stock_code} ${one.what}, lot ${one.lot || "unknown"}`));
  return [title, stops, bag.why ? el("p", {}, bag.why) : null, bag.missing.length ? el("p", {}, `Still wanted: ${bag.missing.map((one) => `${bare(one.quantity)} ${one.stock_code}`).join(", ")}.`) : null,
    tasks.map((name) => el("p", {}, go(NAMES[name], bag.code, name))), bag.fits.length ? el("p", {}, go("Does it fit?", bag.code, "fit")) : null,
    el("details", {}, el("summary", {}, "What is inside"), inside.length ? el("ul", {}, inside) : el("p", {}, "Nothing yet.")), go("All bags", "")].flat();
}

window.addEventListener("hashchange", () => {
  clear();
  if (told?.stays) told.stays = false;
  else told = null;
  render();
});
// Another page on this device has kept something, or this one comes back out of the browser's history.
function readAgain() {
  touched += 1;
  Object.assign(kept, stored());
  clear();
  render();
}
window.addEventListener("storage", (event) => { if (event.key === STORE) readAgain(); });
window.addEventListener("pageshow", (event) => { if (event.persisted) readAgain(); });
root.addEventListener("input", () => { touched += 1; });
const also = new URLSearchParams(location.search).get("bag");
if (also) act(() => carryToo(also));
if ("serviceWorker" in navigator) navigator.serviceWorker.register(root.dataset.worker);
else say("ONLY WITH A SIGNAL", "This browser keeps no pages: the address must begin with https.", true);
render();
findReader();
