// The chosen part in words and figures.

/** An element with text and children; model text only ever becomes text. */
function make(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name in element) element[name] = value;
    else element.setAttribute(name, value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

function factList(pairs) {
  const list = make("dl", { className: "part-facts" });
  for (const [name, value] of pairs) {
    if (value === "" || value === null || value === undefined) continue;
    list.append(make("dt", {}, name), make("dd", {}, value));
  }
  return list;
}

function plainTable(caption, heads, rows) {
  if (!rows.length) return null;
  const head = make("tr", {}, ...heads.map((text) => make("th", { scope: "col" }, text)));
  const lines = rows.map((row) =>
    make(
      "tr",
      {},
      ...row.map((cell, n) => (n ? make("td", {}, cell ?? "") : make("th", { scope: "row" }, cell ?? ""))),
    ),
  );
  return make(
    "table",
    {},
    make("caption", {}, caption),
    make("thead", {}, head),
    make("tbody", {}, ...lines),
  );
}

/** What a finding says: what is wrong, what was assumed meanwhile, what it is worth, and what to ask unless `known`
 * stands beside it already. A question may begin with whose task it is. */
function findingWords(data, kind, row, known = "") {
  const { message, assumed, ask, worth, worth_unit: unit, money, parts } = data.findings[kind];
  const name = parts[row].length ? `${data.parts.name(parts[row][0])}: ` : "";
  const own = name && message(row).startsWith(name) ? message(row).slice(name.length) : message(row); // it stands before
  const counted = unit(row) === "pieces";
  const noun = counted && worth(row) === 1 ? "piece" : unit(row);
  const stake = [figure(worth(row), counted ? 0 : 3, noun), figure(money(row), 2, data.currency)].filter((word) => word);
  const words = [`${own}.`];
  if (assumed(row)) words.push(`Assumed: ${assumed(row)}.`);
  if (stake.length) words.push(`At stake: ${stake.join(", ")}.`);
  const question = ask(row);
  if (question && question !== known) words.push(/^\w+: /.test(question) ? question : `Ask: ${question}`);
  return ` ${words.join(" ")}`;
}

/** Everything that is known of a part. `face` is the clicked face or -1, `panel` the row of the chosen piece of a
 * division or -1; `go` has what links lead to. */
function partDetails(data, part, face, panel, go) {
  const of = (name) => data.parts[name](part);
  const fragment = document.createDocumentFragment();
  const lump = of("lump") > 1 ? `lump ${of("lump")}` : "";
  fragment.append(make("h3", {}, partName(data, part)));
  fragment.append(
    factList([
      ["Role", [of("role"), of("subrole")].filter((word) => word).join(", ")],
      ["Method", of("method")],
      ["Evidence", of("evidence")],
      ["Material", of("material")],
      ["Strength", of("strength_class")],
      ["Storey", of("storey")],
      ["Type", of("type_name")],
      ["Class", of("ifc_class")],
      ["Model", of("model")],
      ["GlobalId", of("global_id")],
      ["Part", [String(of("part")), lump].filter((word) => word).join(", ")],
      ["Condition", of("condition")],
    ]),
  );
  if (face >= 0) fragment.append(clickedFace(data, face));
  if (panel >= 0) fragment.append(pieceFacts(data, panel, `Piece ${data.pieces.panel(panel)}`));
  fragment.append(make("h3", {}, "Quantities"), quantities(of));
  const declared = of("declared_volume_m3");
  if (declared !== null && of("net_volume_m3")) {
    const ratio = declared / of("net_volume_m3");
    fragment.append(make("p", {}, `The model declares ${figure(declared, 3, "m3")}, ${figure(100 * ratio, 1)} % of the net volume.`));
  }
  const tables = [formworkTable(data, part), surfaceTable(data, part, go), steelTable(data, part), pieceTable(data, part, panel, go)];
  fragment.append(...tables.filter((table) => table));
  fragment.append(billLinks(data, part, go), findingLinks(data, part, go));
  return fragment;
}

function quantities(of) {
  return factList([
    ["Gross volume", figure(of("gross_volume_m3"), 3, "m3")],
    ["Net volume", figure(of("net_volume_m3"), 3, "m3")],
    ["Overlap given up", of("overlap_volume_m3") ? figure(of("overlap_volume_m3"), 3, "m3") : ""],
    ["Length, width, height", sizes([of("length_m"), of("width_m"), of("height_m")])],
    ["Thickness", size(of("thickness_m"))],
    ["Size band", of("size_band")],
    ["Plan area", figure(of("plan_area_m2"), 2, "m2")],
    ["Side area", figure(of("side_area_m2"), 2, "m2")],
    ["Formwork", figure(of("formwork_m2"), 2, "m2")],
    ["Reinforcement", figure(of("reinforcement_kg"), 1, "kg")],
    ["Weight", figure(of("weight_t"), 3, "t")],
  ]);
}

function sizes(values) {
  if (values.every((value) => value === null)) return "";
  if (units.feet) return values.map((value) => size(value) || "?").join(" x ");
  return values.map((value) => figure(value, 3) || "?").join(" x ") + " m";
}

function clickedFace(data, face) {
  const { state, category, area } = data.arrays;
  const words = data.stateWords[data.states[state[face]]];
  const name = category[face] ? `${data.categories[category[face]]}, ${words}` : words;
  return make("p", { id: "clicked-face" }, `Clicked face: ${name}, ${figure(area[face], 2, "m2")}`);
}

function formworkTable(data, part) {
  const t = data.formwork;
  const rows = data.formworkOf(part).map((row) => [
    [t.category(row), t.shape(row) === "curved" ? "curved" : "", t.place(row)].filter((word) => word).join(", "),
    t.band(row),
    plainFigure(t.height_to_soffit_m(row), 2, "m"),
    plainFigure(t.area_m2(row), 2, "m2"),
    plainFigure(t.length_m(row), 2, "m"),
  ]);
  const measures = [inUnit("Height to soffit", "m"), inUnit("Area", "m2"), inUnit("Length", "m")];
  return plainTable("Formed surfaces", ["Category", "Band", ...measures], rows);
}

function surfaceTable(data, part, go) {
  const t = data.surfaces;
  const rows = data.surfacesOf(part).map((row) => {
    const other = t.other(row);
    const words = data.stateWords[t.state(row)] ?? t.state(row);
    return [words, other >= 0 ? partLink(data, other, go) : "", plainFigure(t.area_m2(row), 2, "m2")];
  });
  return plainTable("Surfaces without a form", ["State", "With", inUnit("Area", "m2")], rows);
}

function steelTable(data, part) {
  const t = data.steel;
  const rows = data.steelOf(part).map((row) => [
    [t.kind(row), t.diameter_mm(row) ? `${t.diameter_mm(row)} mm` : ""].filter((word) => word).join(" "),
    t.basis(row),
    plainFigure(t.mass_kg(row), 1, "kg"),
    `${plainFigure(t.low_kg(row), 1, "kg")} to ${plainFigure(t.high_kg(row), 1, "kg")}`,
    t.note(row),
  ]);
  return plainTable("Reinforcement", ["Kind", "Basis", unitName("kg"), inUnit("Range", "kg"), "Note"], rows);
}

function pieceTable(data, part, panel, go) {
  const rows = data.piecesOf(part);
  if (!rows.length) return null;
  return data.pieces.panel(rows[0]) ? dividedTable(data, rows, panel, go) : pieceFacts(data, rows[0], "Piece as lifted");
}

/** The pieces that a body is divided into, each of them leading to its place in the model. */
function dividedTable(data, rows, panel, go) {
  const t = data.pieces;
  const inOrder = [...rows].sort((a, b) => parseInt(t.panel(a), 10) - parseInt(t.panel(b), 10));
  const lines = inOrder.map((row) => {
    const button = make("button", { type: "button", onclick: () => go.panel(row) }, t.mark(row));
    button.setAttribute("aria-pressed", String(row === panel));
    const size = sizes([t.length_m(row), t.width_m(row), t.thickness_m(row)]);
    return [button, t.panel(row), size, plainFigure(t.weight_t(row), 2, "t"), t.repetition_group(row)];
  });
  const caption = `Divided by rule into ${rows.length} pieces`;
  const table = plainTable(caption, ["Piece", "Place", "Length, width, thickness", unitName("t"), "Shape"], lines);
  walkable(table);
  return table;
}

function pieceFacts(data, row, title) {
  const t = data.pieces;
  const group = t.mirror_of(row) ? `${t.repetition_group(row)}, mirror image of ${t.mirror_of(row)}` : t.repetition_group(row);
  return make(
    "div",
    {},
    make("h3", {}, title),
    factList([
      ["Mark", t.mark(row)],
      ["Length, width, thickness", sizes([t.length_m(row), t.width_m(row), t.thickness_m(row)])],
      ["Weight", figure(t.weight_t(row), 3, "t")],
      ["Concrete", figure(t.volume_m3(row), 3, "m3")],
      ["Openings", String(t.openings(row))],
      ["Cast in", t.embedded(row)],
      ["Shape", `${group}, ${t.repetition_count(row)} alike`],
      ["Mould", t.mould(row)],
      ["Transport", t.transport_check(row)],
      ["Lift", t.lift_check(row)],
    ]),
  );
}

function partLink(data, part, go) {
  return make("button", { type: "button", onclick: () => go.part(part) }, partName(data, part));
}

function billLinks(data, part, go) {
  const items = data.itemsOf(part);
  if (!items.length) return "";
  const lines = items.map(([number, quantity]) => {
    const item = data.items[number];
    const button = make("button", { type: "button", onclick: () => go.item(number) }, item.number);
    const rate = item.rate === null ? "no rate" : `at ${figure(item.rate, 2)}`;
    return make("li", {}, button, ` ${item.description}: ${figure(quantity, 3, item.unit)} ${rate}`);
  });
  return make("div", {}, make("h3", {}, "Bill items"), make("ul", { className: "links" }, ...lines));
}

function findingLinks(data, part, go) {
  const found = data.findingsOf(part);
  if (!found.length) return "";
  const lines = found.map(([kind, row]) => {
    const { kind: name, severity } = data.findings[kind];
    const button = make("button", { type: "button", onclick: () => go.kind(kind) }, name);
    return make("li", {}, `${severity} `, button, findingWords(data, kind, row));
  });
  return make("div", {}, make("h3", {}, "Findings"), make("ul", { className: "links" }, ...lines));
}
