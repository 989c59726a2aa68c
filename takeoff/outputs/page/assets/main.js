// The page's state and what changes it: colours, storey, cut, the chosen part, the chosen group.

const byId = (id) => document.getElementById(id);

const state = { mode: "method", storey: "", below: false, divided: false, part: -1, face: -1, panel: -1, group: null };

function bodiesOf(data, parts) {
  const bodies = [];
  data.partOfBody.forEach((part, body) => {
    if (part >= 0 && parts.has(part)) bodies.push(body);
  });
  return bodies;
}

/** In words how often the shape of a piece repeats; of several pieces that of the one made most often. */
function repetition(data, rows) {
  if (!rows.length) return "";
  const times = Math.max(...rows.map((row) => data.pieces.repetition_count(row)));
  const steps = [[20, "made 20 times and more"], [10, "made 10 to 19 times"], [5, "made 5 to 9 times"], [2, "made 2 to 4 times"]];
  return steps.find(([least]) => times >= least)?.[1] ?? "made once";
}

function startTabs() {
  const tabs = [...document.querySelectorAll('[role="tab"]')];
  const panelOf = (tab) => byId(tab.getAttribute("aria-controls"));
  const show = (tab, focus) => {
    const left = tabs.some((other) => other !== tab && panelOf(other).contains(document.activeElement));
    for (const other of tabs) {
      const chosen = other === tab;
      other.setAttribute("aria-selected", String(chosen));
      other.tabIndex = chosen ? 0 : -1;
      panelOf(other).hidden = !chosen;
    }
    if (focus) tab.focus();
    else if (left) panelOf(tab).focus({ preventScroll: true }); // what had the focus is hidden now
  };
  tabs.forEach((tab, n) => {
    tab.addEventListener("click", () => show(tab, false));
    tab.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (step) show(tabs[(n + step + tabs.length) % tabs.length], true);
    });
  });
  show(tabs[0], false);
  return (name) => show(byId(`tab-${name}`), false);
}

function startLook(onChange) {
  const look = byId("look");
  look.addEventListener("change", () => {
    if (look.value) document.documentElement.dataset.look = look.value;
    else delete document.documentElement.dataset.look;
    onChange();
  });
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", onChange);
}

class Page {
  constructor(data, tab) {
    this.data = data;
    this.tab = tab;
    this.go = {
      part: (part) => this.choosePart(part, -1, true),
      panel: (row) => this.choosePanel(row),
      item: (item) => this.chooseItem(item),
      kind: (kind) => this.chooseKind(kind),
      finding: (kind, row) => this.chooseFinding(kind, row),
      list: () => this.tab("parts"),
    };
    this.list = new PartList(data, this.go);
    this.startView();
    this.startTools();
    this.startTables();
    startLook(() => this.applyLook());
    this.applyLook();
    this.paint();
    this.display();
    this.view?.resize(); // the legend stands now, so this is the size that stays
    this.fitAll();
  }

  startView() {
    const shapes = makeShapes(this.data.arrays);
    try {
      this.view = new View(byId("canvas"), shapes, this.data.arrays.box);
    } catch (error) {
      this.view = null;
      byId("notice").hidden = false;
      byId("notice").textContent = `The model cannot be drawn: ${error.message}. The tables are complete.`;
      return;
    }
    let pressed = null;
    const canvas = byId("canvas");
    canvas.addEventListener("pointerdown", (event) => {
      pressed = [event.clientX, event.clientY];
    });
    canvas.addEventListener("pointerup", (event) => {
      const moved = pressed ? Math.hypot(event.clientX - pressed[0], event.clientY - pressed[1]) : 9;
      if (moved < 4 && event.button === 0) this.click(event.clientX, event.clientY);
      pressed = null;
    });
  }

  startTools() {
    const { data } = this;
    const used = new Set(data.partOfBody.filter((part) => part >= 0).map((part) => data.parts.storey(part)));
    for (const name of data.storeys.filter((storey) => used.has(storey))) {
      byId("storey").append(make("option", { value: name }, name || "no storey"));
    }
    byId("mode").addEventListener("change", (event) => {
      state.mode = event.target.value;
      this.paint();
      this.highlight();
    });
    byId("storey").addEventListener("change", () => {
      const chosen = byId("storey");
      state.storey = chosen.selectedIndex ? chosen.value : null;
      this.display();
    });
    state.storey = null;
    byId("below").addEventListener("change", (event) => {
      state.below = event.target.checked;
      this.display();
    });
    byId("divided")?.addEventListener("change", (event) => {
      this.divide(event.target.checked);
      if (state.part >= 0) this.choosePart(state.part, -1, false);
      const pieces = data.panelOfBody.filter((row) => row >= 0);
      const number = `${data.divided.size} bod${data.divided.size === 1 ? "y" : "ies"}`;
      this.say(state.divided ? `${number} shown as ${new Set(pieces).size} pieces` : `${number} shown as modelled`);
    });
    byId("cut").addEventListener("input", () => this.cut());
    byId("fit").addEventListener("click", () => this.fitAll());
    byId("from").addEventListener("change", () => this.fitAll());
    byId("clear").addEventListener("click", () => this.clear());
    byId("alone").addEventListener("click", () => this.chooseGroup(new Set([state.part]), "Alone"));
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape") this.clear();
    });
    this.cut();
  }

  startTables() {
    for (const button of document.querySelectorAll("button.item")) {
      button.addEventListener("click", () => this.chooseItem(Number(button.closest("tr").dataset.item)));
    }
    for (const button of document.querySelectorAll("button.kind")) {
      button.addEventListener("click", () => this.chooseKind(Number(button.closest("tr").dataset.kind)));
    }
    for (const table of document.querySelectorAll(".bill, #finding-kinds")) walkable(table);
  }

  applyLook() {
    const style = getComputedStyle(document.documentElement);
    this.view?.look(style.getPropertyValue("--ink").trim(), style.getPropertyValue("--chosen").trim());
  }

  /** Colours by the mode, and the legend that explains them with the number of parts. */
  paint() {
    const { data } = this;
    const colours = data.colours[state.mode];
    const names = { method: data.parts.method, role: data.parts.role, storey: data.parts.storey };
    const ofPart = {
      finding: (part) => data.severity()[part],
      repetition: (part) => repetition(data, data.piecesOf(part)),
    }[state.mode] ?? names[state.mode];
    const ofBody = (b) => {
      const row = data.panelOfBody[b];
      return row >= 0 && state.mode === "repetition" ? repetition(data, [row]) : ofPart(data.partOfBody[b]);
    };
    const { body, state: states } = data.arrays;
    const other = data.colours.formwork["not-formed"];
    this.view?.paint((face) => {
      if (state.mode === "formwork") return colours[data.states[states[face]]];
      const b = body[face];
      return data.partOfBody[b] < 0 ? other : (colours[ofBody(b)] ?? other);
    });
    const count = new Map();
    if (state.mode === "formwork") {
      states.forEach((number, face) => {
        if (!(data.arrays.flags[face] & FILLED) || !this.stands(body[face])) return;
        const name = data.states[number];
        count.set(name, (count.get(name) ?? 0) + data.arrays.area[face]);
      });
    } else {
      data.partOfBody.forEach((part, b) => {
        if (part >= 0 && this.stands(b)) count.set(ofBody(b), (count.get(ofBody(b)) ?? 0) + 1);
      });
    }
    const entries = Object.keys(colours).filter((name) => count.has(name));
    byId("legend").replaceChildren(
      make("li", { className: "muted" }, state.mode === "formwork" ? "Surface:" : "Bodies:"),
      ...entries.map((name) => {
        const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
        const square = document.createElementNS("http://www.w3.org/2000/svg", "rect");
        for (const [key, value] of [["width", "100%"], ["height", "100%"], ["fill", colours[name]], ["stroke", "#555"]]) {
          square.setAttribute(key, value);
        }
        svg.append(square);
        svg.setAttribute("aria-hidden", "true");
        const words = state.mode === "formwork" ? data.stateWords[name] : name || { finding: "none", repetition: "no piece" }[state.mode] || "not told";
        const number = state.mode === "formwork" ? figure(count.get(name), 1, "m2") : figure(count.get(name), 0);
        return make("li", {}, svg, `${words}: ${number}`);
      }),
    );
  }

  /** Whether a body stands in the model as it is shown: as modelled, or divided into its pieces. */
  stands(body) {
    return this.data.panelOfBody[body] >= 0 ? state.divided : !(state.divided && this.data.divided.has(body));
  }

  /** Show divided bodies as their pieces, or as modelled. */
  divide(wanted) {
    state.divided = wanted;
    state.panel = -1;
    byId("divided").checked = wanted;
    this.paint();
    this.display();
  }

  /** Which bodies are solid, faint or hidden: by division and storey first, then by the chosen group. */
  display() {
    const { data } = this;
    const level = new Map(data.storeys.map((name, n) => [name, n]));
    const show = new Uint8Array(data.partOfBody.length);
    data.partOfBody.forEach((part, body) => {
      const storey = part >= 0 ? data.parts.storey(part) : "";
      const shown =
        this.stands(body) &&
        (state.storey === null ||
          storey === state.storey ||
          (state.below && level.get(storey) < level.get(state.storey)));
      if (!shown) show[body] = HIDDEN;
      else show[body] = !state.group || state.group.has(part) ? SOLID : FAINT;
    });
    this.view?.display(show);
    this.highlight();
  }

  highlight() {
    const own = state.part >= 0 ? bodiesOf(this.data, new Set([state.part])) : [];
    const chosen = state.panel < 0 ? own : own.filter((body) => this.data.panelOfBody[body] === state.panel);
    this.view?.choose(chosen, state.mode !== "formwork");
  }

  cut() {
    const box = this.view?.boxOf(this.data.partOfBody.keys());
    if (!box) return;
    const share = byId("cut").value / 1000;
    const height = box.min.z + share * (box.max.z - box.min.z);
    this.view.cut(share === 1 ? 1e6 : height);
    byId("cut-at").textContent = share === 1 ? "no cut" : `${figure(height - box.min.z, 2, "m")} up`;
    byId("cut").setAttribute("aria-valuetext", byId("cut-at").textContent);
  }

  fitAll() {
    this.view?.fit(this.view.boxOf(this.data.partOfBody.keys()), byId("from").value);
  }

  click(x, y) {
    const hit = this.view.pick(x, y);
    const part = hit ? this.data.partOfBody[hit.body] : -1;
    if (part >= 0) this.choosePart(part, hit.face, false, this.data.panelOfBody[hit.body]);
  }

  /** Show a piece of a division in the model, with the part that it is of. */
  choosePanel(row) {
    const body = this.data.panelOfBody.indexOf(row);
    if (!state.divided) this.divide(true);
    this.choosePart(this.data.partOfBody[body], -1, false, row);
    byId("details").querySelector('td button[aria-pressed="true"], th button[aria-pressed="true"]')?.focus();
  }

  choosePart(part, face, look, panel = -1) {
    state.part = part;
    state.face = face;
    state.panel = panel;
    byId("details").replaceChildren(partDetails(this.data, part, face, panel, this.go));
    this.markItems();
    this.list.choose(part);
    this.tab("part");
    if (look && state.storey !== null && this.data.parts.storey(part) !== state.storey) {
      byId("storey").selectedIndex = 0;
      state.storey = null;
      this.display();
    }
    this.highlight();
    if (look) this.view?.fit(this.spread(this.view.boxOf(bodiesOf(this.data, new Set([part])))), null);
    const words = [partName(this.data, part), this.data.parts.role(part), this.data.parts.method(part)];
    if (panel >= 0) words.push(`piece ${this.data.pieces.panel(panel)}, ${this.data.pieces.mark(panel)}`);
    this.say(words.join(", "));
  }

  /** A box with some of what is around it. */
  spread(box) {
    return box?.expandByScalar(0.4 * box.getSize(new THREE.Vector3()).length() + 1);
  }

  /** Light up a group of parts and let the rest fade. */
  chooseGroup(parts, label) {
    state.group = parts.size ? parts : null;
    if (!parts.has(state.part)) state.part = state.panel = -1;
    this.list.narrow(state.group);
    this.display();
    this.say(parts.size ? `${label}: ${parts.size} part${parts.size === 1 ? "" : "s"}` : `${label}: no part`);
  }

  chooseItem(number) {
    const row = document.querySelector(`tr[data-item="${number}"]`);
    const again = row.querySelector("button").getAttribute("aria-pressed") === "true" && state.group;
    if (again) return this.clear();
    this.forget();
    const item = this.data.items[number];
    this.chooseGroup(new Set(item.parts), `Item ${item.number}`);
    row.querySelector("button").setAttribute("aria-pressed", "true");
    row.classList.add("chosen");
    openUnder(row, itemParts(this.data, number, this.go));
    this.tab("bill");
    row.querySelector("button").focus({ preventScroll: true });
    row.scrollIntoView({ block: "nearest" });
  }

  chooseKind(number) {
    const row = document.querySelector(`tr[data-kind="${number}"]`);
    const button = row.querySelector("button");
    if (button.getAttribute("aria-expanded") === "true") return this.clear();
    this.forget();
    const kind = this.data.findings[number];
    this.chooseGroup(new Set(kind.parts.flat()), kind.kind);
    button.setAttribute("aria-expanded", "true");
    row.classList.add("chosen");
    openUnder(row, findingList(this.data, number, this.go));
    this.tab("findings");
    button.focus({ preventScroll: true });
    row.scrollIntoView({ block: "nearest" });
  }

  chooseFinding(number, row) {
    const parts = new Set(this.data.findings[number].parts[row]);
    this.choosePart([...parts][0], -1, true);
    this.chooseGroup(parts, this.data.findings[number].kind);
  }

  /** Items that hold the chosen part are marked in the bill. */
  markItems() {
    const own = new Set(this.data.itemsOf(state.part).map(([item]) => item));
    for (const row of document.querySelectorAll("tr[data-item]")) {
      row.classList.toggle("chosen", own.has(Number(row.dataset.item)));
    }
  }

  /** Put the tables back as if no item or kind were chosen. */
  forget() {
    for (const open of document.querySelectorAll("tr.open")) open.remove();
    for (const row of document.querySelectorAll("tr.chosen[data-item], tr.chosen[data-kind]")) row.classList.remove("chosen");
    for (const button of document.querySelectorAll("button.item")) button.setAttribute("aria-pressed", "false");
    for (const button of document.querySelectorAll("button.kind")) button.setAttribute("aria-expanded", "false");
  }

  clear() {
    const held = document.activeElement !== document.body;
    state.group = null;
    state.part = -1;
    state.face = -1;
    state.panel = -1;
    this.forget();
    this.list.narrow(null);
    this.list.mark(-1);
    byId("details").replaceChildren(make("p", { className: "muted" }, "No part is chosen."));
    this.display();
    this.say("");
    // what had the focus may be gone with the choice
    if (held && document.activeElement === document.body) document.querySelector('[role="tab"][aria-selected="true"]').focus();
  }

  say(text) {
    byId("status").textContent = text;
    byId("clear").disabled = state.part < 0 && !state.group;
    byId("alone").disabled = state.part < 0;
  }
}

async function start() {
  const tab = startTabs();
  const data = await loadData();
  const page = new Page(data, tab);
  page.view?.now();
  document.documentElement.dataset.ready = String(Math.round(performance.now()));
}

start().catch((error) => {
  byId("notice").hidden = false;
  byId("notice").textContent = `The model cannot be shown: ${error.message}. The tables are complete.`;
  console.error(error);
});
