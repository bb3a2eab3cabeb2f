// Turns a report into the page. Everything is inserted as text; nothing of an upload becomes markup.

const VERDICTS = {
  pass: { title: "Ready for a test cut", mark: "✓" },
  warn: { title: "Will cut, but look at this first", mark: "!" },
  fail: { title: "Will not cut as it is", mark: "✕" },
};
const SEVERITIES = { error: "Must be mended", warning: "Worth a look", note: "Good to know" };
const FITS = {
  "fits": "Fits as drawn",
  "fits-turned": "Fits when turned a quarter",
  "does-not-fit": "Does not fit",
  "not-judged": "Not judged",
};

const byId = (id) => document.getElementById(id);

/** Make an element with attributes and children; strings become text nodes. */
export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

function number(value, digits = 2) {
  return new Intl.NumberFormat("en-GB", { maximumFractionDigits: digits }).format(value);
}

function length(mm) {
  return `${number(mm, mm < 10 ? 2 : 1)} mm`;
}

function way(mm) {
  return mm >= 1000 ? `${number(mm / 1000)} m` : length(mm);
}

function area(mm2) {
  return mm2 >= 1e5 ? `${number(mm2 / 1e6, 3)} m²` : `${number(mm2 / 100, 1)} cm²`;
}

function swatch(colour) {
  if (!/^#[0-9a-f]{6}$/i.test(colour ?? "")) return null;
  const square = make("span", { class: "swatch", "aria-hidden": "true" });
  square.style.backgroundColor = colour;
  return square;
}

function fill(id, children) {
  byId(id).replaceChildren(...children);
}

/** Show a whole report. `rules` maps a code to the catalogue's entry. */
export function showReport(report, rules) {
  const verdict = VERDICTS[report.verdict];
  byId("banner").className = `banner ${report.verdict}`;
  byId("verdict").textContent = verdict.title;
  byId("verdict-mark").textContent = verdict.mark;
  byId("summary").textContent = report.summary;
  fill("findings", report.findings.length
    ? report.findings.map((finding, index) => findingItem(finding, index + 1, rules.get(finding.code)))
    : [make("li", { class: "none" }, "Nothing that would spoil the cut.")]);
  showMeasures(report.measures);
  fill("roll-fit", report.roll.length ? report.roll.map(rollItem) : [make("li", {}, "No film to fit.")]);
  fill("assumptions", report.assumptions.length
    ? report.assumptions.map((one) => make("li", {},
      make("strong", {}, `${one.subject}: `), one.taken, make("span", { class: "hint" }, one.why)))
    : [make("li", {}, "Nothing: all was stated.")]);
  fill("not-judged", report.not_judged.length
    ? report.not_judged.map((one) => make("li", {}, one))
    : [make("li", {}, "Nothing was left out.")]);
  byId("claim").textContent = report.claim;
  byId("provenance").textContent =
    `${report.source.name ?? "Artwork"}, ${report.source.format.toUpperCase()}, `
    + `${number(report.source.size_bytes)} bytes, SHA-256 ${report.source.sha256.slice(0, 16)}…, `
    + `checked by version ${report.tool_version}.`;
}

function findingItem(finding, index, rule) {
  const places = finding.places_total;
  const where = places > 1 ? `${number(places)} places` : places === 1 ? "1 place" : "the whole artwork";
  const meta = [make("span", {}, where)];
  if (finding.film) meta.push(make("span", {}, swatch(finding.film), finding.film));
  if (finding.measured !== null) {
    const unit = finding.unit ? ` ${finding.unit}` : "";
    const limit = finding.limit !== null ? `, limit ${number(finding.limit)}${unit}` : "";
    meta.push(make("span", {}, `measured ${number(finding.measured)}${unit}${limit}`));
  }
  if (finding.repairable) meta.push(make("span", {}, "can be mended mechanically, without changing the look"));
  const title = rule ? `${SEVERITIES[finding.severity]} · ${rule.title}` : SEVERITIES[finding.severity];
  return make("li", { id: `finding-${index}`, class: `finding ${finding.severity}`, tabindex: "-1" },
    make("span", { class: "number", "aria-hidden": "true" }, String(index)),
    make("div", {},
      make("h4", {}, make("span", { class: "sr" }, `${index}. `), title),
      make("p", { class: "message" }, finding.message),
      make("p", { class: "remedy" }, make("strong", {}, "What to do: "), finding.remedy),
      make("p", { class: "meta hint" }, ...meta),
      operatorPart(finding, rule)));
}

function operatorPart(finding, rule) {
  const listed = finding.places.slice(0, 12).map((place) => {
    const [x, y] = place.point;
    const name = place.id ? `#${place.id}` : place.element;
    const parts = [`x ${number(x)} mm, y ${number(y)} mm`, name, place.layer && `layer ${place.layer}`,
      place.line && `line ${place.line}`];
    return make("li", {}, parts.filter(Boolean).join(" · "));
  });
  const left = finding.places_total - listed.length;
  if (left > 0) listed.push(make("li", {}, `and ${number(left)} more`));
  return make("details", {},
    make("summary", {}, "For the operator"),
    make("p", {}, finding.detail),
    rule ? make("p", {}, rule.why) : null,
    listed.length ? make("ul", {}, ...listed) : null,
    make("p", {}, make("code", {}, `${finding.code}/${finding.case}`), ` · ${finding.fingerprint}`));
}

function showMeasures(measures) {
  const scale = measures.scale === 1 ? "as in the file" : `${number(measures.scale, 4)} times the file's size`;
  const pairs = [
    ["Size", `${length(measures.width_mm)} × ${length(measures.height_mm)} (${scale})`],
    ["Knife's way", way(measures.cut_length_mm)],
    ["Contours", number(measures.contours)],
    ["Nodes", number(measures.nodes)],
  ];
  fill("measures", pairs.flatMap(([name, value]) => [make("dt", {}, name), make("dd", {}, value)]));
  if (!measures.films.length) {
    fill("films", []);
    return;
  }
  const head = ["Film", "Area", "Knife's way", "Thinnest part", "Narrowest gap"];
  const body = measures.films.map((film) => make("tr", {},
    make("td", {}, swatch(film.colour), film.name === film.colour ? film.colour : `${film.name} (${film.colour})`),
    ...[area(film.area_mm2), way(film.cut_length_mm), narrowest(film.smallest_part_mm),
      narrowest(film.smallest_gap_mm)].map((text) => make("td", {}, text))));
  fill("films", [make("table", {},
    make("thead", {}, make("tr", {}, ...head.map((text) => make("th", { scope: "col" }, text)))),
    make("tbody", {}, ...body))]);
}

function narrowest(mm) {
  return mm === null ? "above limits" : length(mm);
}

function rollItem(fit) {
  const named = /^#[0-9a-f]{6}$/i.test(fit.film) ? swatch(fit.film) : `${fit.film}: `;
  const along = fit.along_mm === null || fit.verdict === "does-not-fit" ? null
    : make("span", { class: "hint" }, `Takes ${length(fit.along_mm)} of film, weed border included.`);
  return make("li", {}, named, make("strong", {}, `${FITS[fit.verdict]}. `), fit.reason, along);
}

/** Show a problem (RFC 9457), or any other failure given as the same members. */
export function showProblem(problem) {
  const box = byId("problem");
  box.replaceChildren(
    make("h2", {}, problem.title),
    make("p", { class: "lines" }, problem.detail ?? ""),
    problem.advice ? make("p", {}, make("strong", {}, "What to do: "), problem.advice) : "",
    problem.instance ? make("p", { class: "hint" }, `Reference ${problem.instance.replace("urn:uuid:", "")}`) : "");
  box.hidden = false;
}
