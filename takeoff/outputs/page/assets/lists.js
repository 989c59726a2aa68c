// The list of parts, the items' and the findings' own lists: pages of rows that the keyboard walks through.

const PAGE = 100;
const FEW = 25;

/** Up and down move between the buttons of a list, home and end go to its ends. */
function walkable(container) {
  container.addEventListener("keydown", (event) => {
    const buttons = [...container.querySelectorAll("button")];
    const here = buttons.indexOf(document.activeElement);
    if (here < 0) return;
    const to = { ArrowDown: here + 1, ArrowUp: here - 1, Home: 0, End: buttons.length - 1 }[event.key];
    if (to === undefined || !buttons[to]) return;
    event.preventDefault();
    buttons[to].focus();
  });
}

class PartList {
  constructor(data, go) {
    this.data = data;
    this.go = go;
    this.body = document.querySelector("#part-list tbody");
    this.search = document.getElementById("find");
    this.only = document.getElementById("only-chosen");
    this.group = null;
    this.chosen = -1;
    this.start = 0;
    const p = data.parts;
    this.words = once(() =>
      Array.from({ length: data.count }, (_, part) =>
        [p.mark, p.name, p.type_name, p.material, p.global_id, p.role, p.method, p.storey, p.strength_class]
          .map((column) => column(part))
          .join("\n")
          .toLowerCase(),
      ),
    );
    this.search.addEventListener("input", () => this.filter());
    this.only.addEventListener("change", () => this.filter());
    document.getElementById("earlier").addEventListener("click", () => this.page(this.start - PAGE));
    document.getElementById("later").addEventListener("click", () => this.page(this.start + PAGE));
    walkable(this.body);
    this.filter();
  }

  /** Let the list be narrowed to a group of parts, or to nothing in particular with null. */
  narrow(group) {
    this.group = group;
    this.only.disabled = !group;
    this.only.checked = Boolean(group);
    this.filter();
  }

  filter() {
    const wanted = this.search.value.toLowerCase().split(/\s+/).filter((word) => word);
    this.rows = [];
    for (let part = 0; part < this.data.count; part++) {
      if (this.group && this.only.checked && !this.group.has(part)) continue;
      if (wanted.every((word) => this.words()[part].includes(word))) this.rows.push(part);
    }
    this.page(0);
  }

  page(start) {
    this.start = Math.max(0, start);
    const p = this.data.parts;
    const lines = this.rows.slice(this.start, this.start + PAGE).map((part) => {
      const button = make("button", { type: "button", onclick: () => this.go.part(part) }, partName(this.data, part));
      const cells = [p.role(part), p.method(part), p.storey(part), plainFigure(p.net_volume_m3(part), 3, "m3"), plainFigure(p.formwork_m2(part), 2, "m2")];
      const line = make("tr", {}, make("th", { scope: "row" }, button), ...cells.map((text) => make("td", {}, text)));
      line.dataset.part = part;
      return line;
    });
    this.body.replaceChildren(...lines);
    this.mark(this.chosen);
    const end = Math.min(this.start + PAGE, this.rows.length);
    document.getElementById("page-of").textContent = this.rows.length
      ? `${this.start + 1} to ${end} of ${this.rows.length}`
      : "no part";
    document.getElementById("earlier").disabled = this.start === 0;
    document.getElementById("later").disabled = end >= this.rows.length;
  }

  /** Show the part as the chosen one, turning to its page. */
  choose(part) {
    const place = this.rows.indexOf(part);
    if (place >= 0 && (place < this.start || place >= this.start + PAGE)) this.page(place - (place % PAGE));
    this.mark(part);
  }

  mark(part) {
    this.chosen = part;
    for (const line of this.body.rows) {
      const own = Number(line.dataset.part) === part;
      line.classList.toggle("chosen", own);
      line.querySelector("button").setAttribute("aria-pressed", String(own));
    }
  }
}

/** Put a row with `content` under `row` and the question that belongs to it, or take away the one that is there. */
function openUnder(row, content) {
  const open = row.parentElement.parentElement.querySelector("tr.open");
  open?.remove();
  const last = row.nextElementSibling?.classList.contains("ask") ? row.nextElementSibling : row;
  if (content) last.after(make("tr", { className: "open" }, make("td", { colSpan: row.cells.length }, content)));
}

/** The parts of an item with the quantity of each. */
function itemParts(data, number, go) {
  const item = data.items[number];
  const lines = item.parts.slice(0, FEW).map((part, row) =>
    make("li", {}, partLink(data, part, go), ` ${data.parts.storey(part)}: ${figure(item.quantities[row], 3)} ${item.unit}`),
  );
  const list = make("ul", { className: "links" }, ...lines);
  walkable(list);
  const rest = item.parts.length - FEW;
  if (rest > 0) {
    const all = make("button", { type: "button", onclick: () => go.list() }, `${rest} more in the list of parts`);
    list.append(make("li", {}, all));
  }
  return item.parts.length ? list : make("p", {}, "No part of its own: an allowance or a sum.");
}

/** The findings of one kind, a page at a time, each leading to its element. */
function findingList(data, number, go) {
  const kind = data.findings[number];
  const list = make("ul", { className: "links" });
  walkable(list);
  const extend = (from) => {
    const to = Math.min(from + FEW, kind.parts.length);
    for (let row = from; row < to; row++) {
      const parts = kind.parts[row];
      const where = parts.length
        ? make("button", { type: "button", onclick: () => go.finding(number, row) }, partName(data, parts[0]))
        : [kind.model(row), kind.global_id(row)].filter((word) => word).join(" ");
      list.append(make("li", {}, where, findingWords(data, number, row, kind.ask(0))));
    }
    if (to < kind.parts.length) {
      const more = make("button", { type: "button" }, `${kind.parts.length - to} more`);
      const line = make("li", {}, more);
      more.addEventListener("click", () => {
        line.remove();
        extend(to);
      });
      list.append(line);
    }
  };
  extend(0);
  return list;
}
