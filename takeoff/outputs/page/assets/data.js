// The data of the page: unpacked once, then read only.

/** Bytes of a packed element: base64 of gzip. */
async function unpacked(id) {
  const text = atob(document.getElementById(id).textContent);
  const bytes = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return await new Response(stream).arrayBuffer();
}

/** A column as a function from row to value; texts are kept once each. */
function reader(column) {
  if (Array.isArray(column)) return (row) => column[row];
  return (row) => column.words[column.index[row]];
}

/** A table as an object of readers. */
function readers(table) {
  return Object.fromEntries(Object.entries(table).map(([name, column]) => [name, reader(column)]));
}

/** What is made when it is first asked for and kept. */
function once(make) {
  let made;
  return () => (made ??= make());
}

/** For each part what belongs to it, from pairs (part, thing) that `pairs` hands out; gathered at the first call. */
function gathered(pairs) {
  const all = once(() => {
    const lists = new Map();
    pairs((part, thing) => {
      const list = lists.get(part);
      if (list) list.push(thing);
      else lists.set(part, [thing]);
    });
    return lists;
  });
  return (part) => all().get(part) ?? [];
}

/** Row numbers of each part, for a column of the parts to which the rows belong. */
function rowsOf(owners) {
  return gathered((give) => owners.forEach(give));
}

/** The severest finding of each part, empty for none. */
function severities(content, count) {
  const rank = { error: 3, warning: 2, note: 1, "": 0 };
  const severity = new Array(count).fill("");
  for (const kind of content.findings) {
    for (const part of kind.parts.flat()) {
      if (rank[kind.severity] > rank[severity[part]]) severity[part] = kind.severity;
    }
  }
  return severity;
}

const KINDS = { Uint8Array, Uint16Array, Uint32Array, Int32Array, Float32Array };

async function loadData() {
  const [text, buffer] = await Promise.all([unpacked("content"), unpacked("geometry")]);
  const content = JSON.parse(new TextDecoder().decode(text));
  const arrays = Object.fromEntries(
    Object.entries(content.geometry).map(([name, [kind, offset, length]]) => [
      name,
      new KINDS[kind](buffer, offset, length),
    ]),
  );
  Object.assign(units, content.units);
  const count = content.parts.lump.length;
  const pieceOf = gathered((give) =>
    content.pieces.parts.forEach((parts, row) => parts.forEach((part) => give(part, row))),
  );
  const panelOfBody = content.bodies.map((_, body) => content.panel_of_body[body] ?? -1);
  const words = {};
  for (const span of document.getElementById("state-words").content.children) {
    words[span.dataset.state] = span.textContent;
  }
  return {
    count,
    arrays,
    parts: readers(content.parts),
    partOfBody: content.bodies,
    /** Row of the piece that a body is by a division, -1 for a body as modelled. */
    panelOfBody,
    /** Bodies that the pieces of a division stand for. */
    divided: new Set(content.divided),
    storeys: content.storeys,
    states: content.states,
    categories: content.categories,
    colours: content.colours,
    currency: content.currency,
    stateWords: words,
    items: content.items,
    itemsOf: gathered((give) =>
      content.items.forEach((item, i) => item.parts.forEach((part, row) => give(part, [i, item.quantities[row]]))),
    ),
    findings: content.findings.map((kind) => ({
      ...kind,
      message: reader(kind.message),
      assumed: reader(kind.assumed),
      ask: reader(kind.ask),
      worth: reader(kind.worth),
      worth_unit: reader(kind.worth_unit),
      money: reader(kind.money),
      global_id: reader(kind.global_id),
      model: reader(kind.model),
    })),
    findingsOf: gathered((give) =>
      content.findings.forEach((kind, k) => kind.parts.forEach((parts, row) => parts.forEach((part) => give(part, [k, row])))),
    ),
    severity: once(() => severities(content, count)),
    formwork: readers(content.formwork),
    formworkOf: rowsOf(content.formwork.part),
    surfaces: readers(content.surfaces),
    surfacesOf: rowsOf(content.surfaces.part),
    steel: readers(content.steel),
    steelOf: rowsOf(content.steel.part),
    pieces: readers(content.pieces),
    piecesOf: pieceOf,
  };
}

/** What people call a part: its mark or name, and its number where the element has several. */
function partName(data, part) {
  const { mark, name, ifc_class, part: number, global_id } = data.parts;
  const words = name(part).includes(mark(part)) ? [name(part)] : [mark(part), name(part)];
  const text = words.filter((word) => word).join(" ") || ifc_class(part);
  const several = part > 0 && global_id(part - 1) === global_id(part);
  const more = part + 1 < data.count && global_id(part + 1) === global_id(part);
  return several || more ? `${text} (part ${number(part)})` : text;
}

const formats = new Map();

/** Name and factor of the unit in which figures of a metric one are shown, and whether lengths are feet and inches. */
const units = { names: {}, factors: {}, feet: false };

/** The unit that is shown for a metric one. */
function unitName(metric) {
  return units.names[metric] ?? metric;
}

/** A heading that ends in a unit. */
function inUnit(words, metric) {
  return `${words} ${unitName(metric)}`;
}

/** A figure with its unit, both given in metric ones; empty for what is not known. */
function figure(value, decimals, metric = "") {
  const text = plainFigure(value, decimals, metric);
  return metric && text ? `${text} ${unitName(metric)}` : text;
}

/** A figure without its unit, thousands apart, with a fixed number of decimals; empty for what is not known. */
function plainFigure(metricValue, decimals, metric = "") {
  if (metricValue === null || metricValue === undefined || metricValue === "") return "";
  const value = metricValue * (units.factors[metric] ?? 1);
  if (!formats.has(decimals)) {
    const digits = { minimumFractionDigits: decimals, maximumFractionDigits: decimals };
    formats.set(decimals, new Intl.NumberFormat("en", digits));
  }
  return formats.get(decimals).format(value);
}

/** A length as people write it: metres, or feet and inches to a sixteenth. */
function size(metres) {
  return units.feet ? feetAndInches(metres) : figure(metres, 3, "m");
}

function feetAndInches(metres) {
  if (metres === null || metres === undefined) return "";
  const parts = Math.round((Math.abs(metres) / 0.3048) * 192);
  const [feet, rest] = [Math.floor(parts / 192), parts % 192];
  let [over, under] = [rest % 16, 16];
  while (over && over % 2 === 0) [over, under] = [over / 2, under / 2];
  const inches = Math.floor(rest / 16);
  const whole = inches || feet || !over ? String(inches) : "";
  const small = [whole, over ? `${over}/${under}` : ""].filter((word) => word).join(" ");
  const sign = metres < 0 && parts ? "-" : "";
  return feet ? `${sign}${feet}'-${small}"` : `${sign}${small}"`;
}
