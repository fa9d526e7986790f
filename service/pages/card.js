// Asks for a key once, keeps it for this tab alone, and shows the card and its kit. What the server answers is put
// into the page as text or as a parsed document, in which nothing runs.
"use strict";

const KEPT_AS = "elementdue key";
const order = location.pathname.split("/").pop();
const part = (id) => document.getElementById(id);

function say(text) {
  part("says").textContent = text;
}

function empty() {
  part("place").replaceChildren();
  part("shell").classList.remove("loaded");
}

function ask(text) {
  sessionStorage.removeItem(KEPT_AS);
  empty();
  part("shown").hidden = true;
  part("ask").hidden = false;
  part("key").value = "";
  part("key").focus();
  say(text);
}

async function get(path) {
  const headers = { Authorization: "Bearer " + sessionStorage.getItem(KEPT_AS) };
  return fetch("../v1/work-orders/" + order + path, { headers, cache: "no-store", credentials: "omit" });
}

async function show() {
  part("ask").hidden = true;
  say("Loading …");
  let card, kit;
  try {
    [card, kit] = await Promise.all([get("/card"), get("/kit")]);
  } catch {
    part("shown").hidden = false;
    say("The server did not answer. Is there a network here?");
    return;
  }
  if (card.status === 401) {
    ask("The key is unknown, expired or revoked.");
    return;
  }
  if (card.status === 403) {
    ask("This key may not read: its scopes lack “read”.");
    return;
  }
  part("shown").hidden = false;
  if (!card.ok) {
    empty();
    say(card.status === 404 ? "There is no work order " + order + "." : "The server answered " + card.status + ".");
    return;
  }
  const text = await card.text();
  const main = text.slice(text.indexOf("<main"), text.indexOf("</main>")); // the style beside it is here already
  const read = new DOMParser().parseFromString(main, "text/html");
  document.title = "Work order " + order;
  say("Loaded at " + new Date().toLocaleTimeString() + ".");
  const shown = [document.importNode(read.querySelector("main"), true)];
  if (kit.ok) {
    shown.push(toFetch(await kit.json()));
  }
  part("place").replaceChildren(...shown);
  part("shell").classList.add("loaded");
}

function add(to, name, text) {
  const made = document.createElement(name);
  if (text !== undefined) {
    made.textContent = text;
  }
  to.append(made);
  return made;
}

function toFetch(kit) {
  const section = document.createElement("section");
  section.className = "card";
  add(section, "h2", "To fetch, shelf by shelf");
  const lines = kit.parts.concat(kit.oil);
  if (lines.length === 0) {
    add(section, "p", "Nothing is needed from the store.");
    return section;
  }
  const table = add(section, "table");
  table.className = "kit";
  const body = add(table, "tbody");
  for (const line of lines) {
    const row = add(body, "tr");
    row.className = line.store === null ? "short" : "";
    const box = add(add(row, "td"), "input");
    box.type = "checkbox";
    const amount = line.volume ? line.volume.value + " " + line.volume.unit : line.quantity + " ×";
    add(row, "td", amount).className = "amount";
    const what = [line.part_number || line.fluid, line.description || line.name];
    what.push(line.instead_of ? "instead of " + line.instead_of : null, "for " + line.positions.join(", "));
    add(row, "td", what.filter(Boolean).join(", "));
    add(row, "td", from(line));
  }
  return section;
}

function from(line) {
  if (line.store !== null) {
    const lot = line.lot ? "lot " + line.lot : null;
    const until = line.expires_at ? "use by " + line.expires_at.slice(0, 10) : null;
    return [line.store, line.bin, lot, until, line.reserved ? "held for this job" : null].filter(Boolean).join(", ");
  }
  const coming = line.arrives_at ? "arrives " + line.arrives_at.slice(0, 10) + " with " + line.arrives_with : null;
  return "SHORT: " + (coming || "none on order");
}

part("ask").addEventListener("submit", (event) => {
  event.preventDefault();
  const key = part("key").value.trim();
  if (!/^[!-~]+$/.test(key)) {
    ask("A key has no spaces and no accents.");
    return;
  }
  sessionStorage.setItem(KEPT_AS, key);
  part("key").value = "";
  show();
});
part("again").addEventListener("click", show);
part("forget").addEventListener("click", () => ask("The key is forgotten."));

if (sessionStorage.getItem(KEPT_AS)) {
  show();
} else {
  ask("To read this card the server asks for a key.");
}
