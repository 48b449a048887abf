"use strict";
// Shows the page that the program sends after each entry; it decides nothing by itself.
const $ = (id) => document.getElementById(id);
const say = (id, text) => { const node = $(id); if (node.textContent !== text) node.textContent = text; };
const STATUS = { p: "planned", t: "taken", f: "full", s: "short", e: "empty", v: "void" };
const SHORT = { p: "", t: "", f: "", s: "short", e: "empty", v: "void" };
const VERDICT = { "taken": ["\u2713 taken", "taken"], "asked back": ["? asked back", "asked"], "not taken": ["\u2715 not taken", "not"], "no change": ["\u2013 no change", "same"] };
let plan = null, page = null, base = 0, running = false, pictures = [];

function clock(ms) {
  const s = Math.max(0, Math.floor(ms / 1000)), two = (n) => String(n).padStart(2, "0");
  const h = Math.floor(s / 3600);
  return (h ? h + ":" : "") + two(Math.floor(s / 60) % 60) + ":" + two(s % 60);
}

function element(name, className, text) {
  const node = document.createElement(name);
  if (className) node.className = className;
  if (text !== undefined) node.textContent = text;
  return node;
}

function look(name) {
  document.documentElement.dataset.look = name;
  for (const button of document.querySelectorAll("button[data-look]")) button.setAttribute("aria-pressed", String(button.dataset.look === name));
  try { sessionStorage.setItem("look", name); } catch { /* Not kept where the browser forbids it. */ }
}

// Draws a part anew only when what it shows has changed.
const drawn = {};
function changed(part, shown, draw) {
  const text = JSON.stringify(shown);
  if (drawn[part] === text) return;
  drawn[part] = text;
  draw();
}

function show(next, ageMs, live) {
  page = next;
  base = performance.now() - page.elapsed_ms - ageMs;
  running = live && !page.ended;
  say("operator", page.operator || "-");
  say("step", page.step || "-");
  say("samples", `${page.taken} of ${page.planned}`);
  say("instruction", page.instruction || "Waiting for the session.");
  say("answers", page.answers.length && !page.ended ? `Answer: ${page.answers.join(" / ")}` : "");
  const last = page.recent.find((one) => one.became) || null;
  const [word, kind] = last ? VERDICT[last.became] : ["", ""];
  say("became", word);
  $("became").className = kind;
  say("heard", last ? last.what : "-");
  say("said", last && last.said && last.said !== page.instruction ? `Answered: ${last.said}` : "");
  const s = page.sampler, places = { outside: "out of the vessel", rim: "at the rim", powder: "in the powder" };
  say("where", s.location < 0 ? "" : `Location ${plan.locations[s.location][0]}, insertion ${s.insertion} of ${page.insertions.length}` + (s.attempt > 1 ? ` (attempt ${s.attempt})` : "") + `: sampler ${places[s.place]}` + (s.place === "powder" ? `, shaft at ${s.position}` : ""));
  changed("picture", [page.sampler, page.entered, page.port, page.insertions.length], () => pictures.forEach((one) => one.show(page)));
  changed("rack", [page.vials, page.masses, page.insertions, page.sampler.insertion, page.ended], rack);
  changed("deviations", [page.deviations, page.deviation_count, page.open_count], deviations);
  changed("conditions", page.conditions, conditions);
  recent();
  if (page.ended) banner(page.ended === "complete" ? "" : "The session was stopped: the record is closed as incomplete.");
  tick();
  document.documentElement.dataset.seq = String(page.seq);
}

function rack() {
  const per = plan.positions.length * plan.ports, list = $("rack");
  const nodes = page.insertions.map(([location, attempt], n) => {
    const item = element("li", n === page.sampler.insertion - 1 && !page.ended ? "here" : "");
    item.append(element("b", "", plan.locations[location][0] + (attempt > 1 ? ` (${attempt})` : "")));
    const vials = element("ul");
    for (let k = 0; k < per; k++) {
      const letter = page.vials[n * per + k];
      if (letter === undefined) break;
      const number = n * per + k + 1, position = plan.positions[Math.floor(k / plan.ports)];
      const vial = element("li", `vial ${letter}`), mass = page.masses[number];
      vial.setAttribute("aria-label", `Vial ${number}, ${position}: ${STATUS[letter]}` + (mass ? `, ${mass} mg` : ""));
      vial.title = vial.getAttribute("aria-label");
      const glass = element("i"), label = element("em", "", SHORT[letter]);
      for (const part of [glass, label]) part.setAttribute("aria-hidden", "true");
      const count = element("span", "", String(number));
      count.setAttribute("aria-hidden", "true");
      vial.append(glass, count, label);
      vials.append(vial);
    }
    item.append(vials);
    return item;
  });
  list.replaceChildren(...nodes);
}

function deviations() {
  const count = page.deviation_count;
  say("deviation-count", count ? `${count} noted, ${page.open_count} open` : "none");
  $("deviations").replaceChildren(...page.deviations.map((one) => {
    const item = element("li", one.status === "open" ? "open" : "");
    const vials = one.vials.length ? `${one.vials.length > 1 ? "vials" : "vial"} ${one.vials.join(", ")}` : "";
    const more = [one.detail, vials].filter(Boolean).join("; ");
    item.append(element("b", "", `${one.number}. ${one.kind}`), `${more && `: ${more}`} (${one.status})`);
    return item;
  }));
}

function recent() {
  $("recent").replaceChildren(...page.recent.map((one) => {
    const item = element("li"), words = element("span", "", one.what + (one.became && one.became !== "taken" ? ` (${one.became})` : ""));
    if (one.said) words.append(element("q", "", one.said));
    item.append(element("time", "", clock(one.ms)), words);
    return item;
  }));
}

function conditions() {
  const rows = Object.entries(page.conditions).map(([name, one]) => {
    const row = element("div", one.good ? "" : "bad");
    row.append(element("dt", "", name), element("dd", "", (one.good ? "" : "! ") + one.text));
    if (name === "microphone" && level !== null) row.lastChild.append(meter());
    return row;
  });
  $("conditions").replaceChildren(...rows);
  const bad = Object.entries(page.conditions).filter(([, one]) => !one.good).map(([name]) => name);
  say("health", bad.length ? `! ${bad.join(", ")}` : "good");
  $("health").className = bad.length ? "not" : "";
}

let level = null;
function meter() {
  const node = element("meter");
  Object.assign(node, { min: -70, max: 0, high: -6, value: level });
  node.setAttribute("aria-label", "Input level in decibels");
  return node;
}

function tick() {
  if (!page) return;
  const now = running ? performance.now() - base : page.elapsed_ms + (replay ? replay.offset : 0);
  say("elapsed", clock(now));
  const port = page.port, box = $("port");
  const wait = page.wait && !port ? page.wait : null;
  box.hidden = !port && !wait;
  if (port) {
    const open = (now - port.since_ms) / 1000, long = port.overrun || open > plan.fill_limit_s;
    say("port-name", `${port.position} port open`);
    say("port-time", `${Math.max(0, Math.floor(open))} s`);
    say("port-limits", `at least ${plan.fill_s} s, at most ${plan.fill_limit_s} s`);
    $("port-fill").style.width = `${Math.min(100, (100 * open) / plan.fill_limit_s)}%`;
    $("port-least").style.left = `${(100 * plan.fill_s) / plan.fill_limit_s}%`;
    box.className = long ? "long" : "";
  } else if (wait) {
    const left = Math.max(0, (wait.until_ms - now) / 1000);
    say("port-name", "wait");
    say("port-time", `${Math.ceil(left)} s`);
    say("port-limits", "");
    $("port-fill").style.width = "0";
    $("port-least").style.left = "0";
    box.className = "";
  }
}

function banner(text) { const node = $("banner"); node.hidden = !text; say("banner", text); }
function head(found) { if (!found) return; say("head-code", found.code); drawCode($("qr"), found.rows); }

function link(text, lost) { say("link", text); $("link").className = lost ? "lost" : ""; }

function watch() {
  const source = new EventSource("/events");
  let over = false;
  source.addEventListener("state", (event) => { const sent = JSON.parse(event.data); show(sent.page, sent.age_ms, true); link("Connected."); });
  source.addEventListener("head", (event) => head(JSON.parse(event.data)));
  source.addEventListener("level", (event) => {
    const first = level === null;
    level = JSON.parse(event.data).level;
    const found = document.querySelector("meter");
    if (found) found.value = level; else if (first && page) conditions();
  });
  source.addEventListener("trouble", (event) => banner(JSON.parse(event.data).trouble));
  source.addEventListener("over", () => { over = true; running = false; source.close(); link(page && page.ended ? "The session has ended." : "The program has ended; the record is open.", !(page && page.ended)); });
  source.addEventListener("error", () => {
    if (over) return;
    running = false;
    link("Connection lost: what is shown may be out of date. Trying again.", true);
    // A browser gives up for good after an answer such as 503.
    if (source.readyState === EventSource.CLOSED) setTimeout(watch, 2000);
  });
}

// The replay: a time line of entries, shown one after the other.
let replay = null;
async function retell() {
  const line = await (await fetch("/timeline")).json();
  replay = { line, at: 0, offset: 0, playing: null, wanted: 0 };
  $("replay").hidden = false;
  $("line").max = String(line.length);
  const whole = Math.max(1, line.length);
  $("marks").replaceChildren(...line.filter((one) => one.deviation || one.clip).map((one) => {
    const mark = element("i", one.deviation ? "" : "sound");
    mark.style.left = `${(100 * one.seq) / whole}%`;
    return mark;
  }));
  $("line").addEventListener("input", () => { stop(); go(Number($("line").value)); });
  $("back").addEventListener("click", () => { stop(); go(replay.at - 1); });
  $("on").addEventListener("click", () => { stop(); go(replay.at + 1); });
  $("play").addEventListener("click", () => (replay.playing ? stop() : play()));
  $("clip").addEventListener("click", () => sound(replay.at));
  document.addEventListener("keydown", (event) => {
    if (event.target.closest("button, select, input") || event.altKey || event.ctrlKey || event.metaKey) return;
    const act = { " ": () => (replay.playing ? stop() : play()), ArrowLeft: () => { stop(); go(replay.at - 1); }, ArrowRight: () => { stop(); go(replay.at + 1); } }[event.key];
    if (act) { event.preventDefault(); act(); }
  });
  await go(Number(new URLSearchParams(location.search).get("entry")) || plan.start || 0);
  link("Replay of a record.");
}

async function go(seq) {
  const at = Math.min(Math.max(0, seq), replay.line.length);
  replay.wanted = at;
  const sent = await (await fetch(`/state/${at}`)).json();
  if (replay.wanted !== at) return;
  replay.at = at;
  replay.offset = 0;
  const entry = replay.line[at - 1];
  $("line").value = String(at);
  $("line").setAttribute("aria-valuetext", `entry ${at}, ${clock(sent.page.elapsed_ms)}`);
  say("line-at", `entry ${at} of ${replay.line.length}, ${clock(sent.page.elapsed_ms)}`);
  $("clip").disabled = !(entry && entry.clip);
  banner("");
  show(sent.page, 0, false);
  head(sent.head);
}

let heard = null;
function sound(seq) {
  if (heard) heard.pause();
  heard = new Audio(`/clip/${seq}`);
  heard.addEventListener("playing", () => { document.documentElement.dataset.clip = String(seq); });
  return heard.play().catch(() => link("This sound cannot be played.", true));
}

function play() {
  if (replay.at >= replay.line.length) return void go(0).then(play);
  say("play", "Pause");
  let before = performance.now();
  replay.playing = setInterval(async () => {
    const now = performance.now(), speed = Number($("speed").value);
    replay.offset += (now - before) * speed;
    before = now;
    const next = replay.line[replay.at];
    if (!next) return stop();
    const until = next.ms - page.elapsed_ms;
    tick();
    if (replay.offset < until || replay.wanted !== replay.at) return;
    const rest = replay.offset - until;
    await go(replay.at + 1);
    replay.offset = Math.min(rest, 250);
    const entry = replay.line[replay.at - 1];
    if (entry && entry.clip && speed === 1) sound(replay.at);
  }, 50);
}

function stop() {
  if (replay.playing) clearInterval(replay.playing);
  replay.playing = null;
  say("play", "Play");
}

async function begin() {
  for (const button of document.querySelectorAll("button[data-look]")) button.addEventListener("click", () => look(button.dataset.look));
  let kept = null;
  try { kept = sessionStorage.getItem("look"); } catch { /* as above */ }
  if (kept) look(kept);
  plan = await (await fetch("/plan")).json();
  document.title = `${plan.batch}: sampling session`;
  say("title", `${plan.product}, ${plan.stage}`);
  say("batch", plan.batch);
  say("study", `${plan.title}. Protocol ${plan.protocol}. ${plan.sampler}, ${plan.vessel}.`);
  say("section-name", `Section, seen from the ${plan.seen_from}`);
  pictures = [new Picture($("section"), plan.section, plan, false), new Picture($("above"), plan.above, plan, true)];
  setInterval(tick, 250);
  if (plan.mode === "replay") await retell(); else watch();
}
begin().catch(() => link("The page could not be loaded: load it again.", true));
