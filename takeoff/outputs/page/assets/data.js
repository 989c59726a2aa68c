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

/** Rows of each part, for a table with a column `part`: a function from part to row numbers. */
function rowsByPart(owners) {
  const rows = new Map();
  owners.forEach((part, row) => {
    if (!rows.has(part)) rows.set(part, []);
    rows.get(part).push(row);
  });
  return (part) => rows.get(part) ?? [];
}

const KINDS = { Uint8Array, Uint16Array, Uint32Array, Int32Array, Float32Array };

async function loadData() {
  const content = JSON.parse(new TextDecoder().decode(await unpacked("content")));
  const buffer = await unpacked("geometry");
  const arrays = Object.fromEntries(
    Object.entries(content.geometry).map(([name, [kind, offset, length]]) => [
      name,
      new KINDS[kind](buffer, offset, length),
    ]),
  );
  const count = content.parts.lump.length;
  const severity = new Array(count).fill("");
  const findingsOf = new Map();
  const rank = { error: 3, warning: 2, note: 1, "": 0 };
  content.findings.forEach((kind, k) => {
    kind.parts.forEach((parts, row) => {
      for (const part of parts) {
        if (!findingsOf.has(part)) findingsOf.set(part, []);
        findingsOf.get(part).push([k, row]);
        if (rank[kind.severity] > rank[severity[part]]) severity[part] = kind.severity;
      }
    });
  });
  const itemsOf = new Map();
  content.items.forEach((item, i) => {
    item.parts.forEach((part, row) => {
      if (!itemsOf.has(part)) itemsOf.set(part, []);
      itemsOf.get(part).push([i, item.quantities[row]]);
    });
  });
  const pieceOf = new Map();
  content.pieces.parts.forEach((parts, row) => parts.forEach((part) => pieceOf.set(part, row)));
  const words = {};
  for (const span of document.getElementById("state-words").content.children) {
    words[span.dataset.state] = span.textContent;
  }
  return {
    count,
    arrays,
    parts: readers(content.parts),
    partOfBody: content.bodies,
    storeys: content.storeys,
    states: content.states,
    categories: content.categories,
    colours: content.colours,
    currency: content.currency,
    stateWords: words,
    items: content.items,
    itemsOf: (part) => itemsOf.get(part) ?? [],
    findings: content.findings.map((kind) => ({
      ...kind,
      message: reader(kind.message),
      assumed: reader(kind.assumed),
      global_id: reader(kind.global_id),
      model: reader(kind.model),
    })),
    findingsOf: (part) => findingsOf.get(part) ?? [],
    severity,
    formwork: readers(content.formwork),
    formworkOf: rowsByPart(content.formwork.part),
    surfaces: readers(content.surfaces),
    surfacesOf: rowsByPart(content.surfaces.part),
    steel: readers(content.steel),
    steelOf: rowsByPart(content.steel.part),
    pieces: readers(content.pieces),
    pieceOf: (part) => pieceOf.get(part),
  };
}

/** What people call a part: its mark or name, and its number where the element has several. */
function partName(data, part) {
  const { mark, name, ifc_class, part: number, global_id } = data.parts;
  const text = [mark(part), name(part)].filter((word) => word).join(" ") || ifc_class(part);
  const several = part > 0 && global_id(part - 1) === global_id(part);
  const more = part + 1 < data.count && global_id(part + 1) === global_id(part);
  return several || more ? `${text} (part ${number(part)})` : text;
}

/** A figure with thousands apart and a fixed number of decimals; empty for what is not known. */
function figure(value, decimals, unit = "") {
  if (value === null || value === undefined || value === "") return "";
  const text = value.toLocaleString("en", { minimumFractionDigits: decimals, maximumFractionDigits: decimals });
  return unit ? `${text} ${unit}` : text;
}
