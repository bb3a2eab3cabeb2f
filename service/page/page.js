// The page's behaviour: take the file and the job, ask the service, show what it says.

import { make, showProblem, showReport } from "./render.js";

const byId = (id) => document.getElementById(id);
const form = byId("form");
const artwork = byId("artwork");
const jobFile = byId("job");
const status = byId("status");
const key = byId("key");
const settings = ["width", "height", "roll", "film", "use"].map(byId);

let rules = new Map();
let urls = [];
let running = null;
let checked = null;

async function loadRules() {
  const answer = await fetch("/v1/rules");
  if (answer.ok) rules = new Map((await answer.json()).rules.map((rule) => [rule.code, rule]));
}

/** The job as the fields state it; what is left empty is left out. */
function jobOfFields() {
  const [width, height, roll, film, use] = settings.map((field) => field.value.trim());
  const length = (text) => (/^[0-9.]+$/.test(text) ? `${text} mm` : text);
  const job = {};
  if (width || height) job.size = {};
  if (width) job.size.width = length(width);
  if (height) job.size.height = length(height);
  if (roll) job.roll = { width: length(roll) };
  if (film) job.film = { kind: film };
  if (use) job.use = use;
  return job;
}

function upload() {
  const body = new FormData();
  body.append("artwork", artwork.files[0]);
  if (jobFile.files.length) {
    body.append("job", jobFile.files[0]);
  } else {
    const job = jobOfFields();
    if (Object.keys(job).length) {
      body.append("job", new Blob([JSON.stringify(job)], { type: "application/json" }), "job.json");
    }
  }
  return body;
}

async function ask(path, accept, body, signal) {
  const headers = { Accept: accept };
  if (key.value) headers.Authorization = `Bearer ${key.value.trim()}`;
  const answer = await fetch(path, { method: "POST", body, headers, signal });
  // Only where the service asks for a key is there a field for it; it is kept as long as the page is open.
  if (answer.status === 401) byId("key-field").hidden = false;
  if (answer.ok) return answer;
  const kind = answer.headers.get("Content-Type") ?? "";
  if (kind.startsWith("application/problem+json")) throw Object.assign(new Error(), { problem: await answer.json() });
  throw new Error(`The service answered with status ${answer.status}.`);
}

/** Drawn as wide as it will be shown, so that its lettering can be read. */
function pictureWidth() {
  const columns = window.matchMedia("(min-width: 62rem)").matches ? 7 / 12 : 1;
  return Math.round(Math.min(Math.max(form.clientWidth * columns - 40, 480), 1200));
}

async function check() {
  running?.abort();
  const mine = new AbortController();
  running = mine;
  byId("problem").hidden = true;
  if (!artwork.files.length) {
    showProblem({ title: "No artwork yet", detail: "Choose the artwork's file first, or drop it on the frame." });
    artwork.focus();
    return;
  }
  byId("check").disabled = true;
  status.textContent = "Following every line …";
  const sent = upload();
  try {
    // Report and picture come of one check, as the two parts of a form.
    const path = `/v1/reports?words=false&width=${pictureWidth()}`;
    const parts = await (await ask(path, "multipart/form-data", sent, mine.signal)).formData();
    const text = await parts.get("report").text();
    const report = JSON.parse(text);
    checked = { sent, report };
    forget();
    showReport(report, rules);
    offer("download-json", new Blob([text], { type: "application/json" }), fileName(report, "report.json"));
    byId("intro").hidden = true;
    byId("result").hidden = false;
    byId("result").focus({ preventScroll: true });
    byId("result").scrollIntoView();
    status.textContent = "Checked.";
    await showPicture(await parts.get("picture").text(), report);
  } catch (error) {
    if (mine.signal.aborted) return;
    status.textContent = "";
    byId("result").hidden = true;
    showProblem(error.problem ?? {
      title: "The service could not be reached",
      detail: error.message,
      advice: "Look whether it is running, then try again.",
    });
    byId("problem").scrollIntoView();
  } finally {
    if (running === mine) byId("check").disabled = false;
  }
}

function fileName(report, ending) {
  const stem = (report.source.name ?? "artwork").replace(/\.[^.]*$/, "");
  return `${stem}-${ending}`;
}

function forget() {
  urls.forEach((url) => URL.revokeObjectURL(url));
  urls = [];
  byId("stage").querySelectorAll(".spot").forEach((spot) => spot.remove());
  byId("picture").hidden = true;
  byId("caption").textContent = "Drawing …";
  byId("workshop-status").textContent = "";
}

function offer(id, blob, name) {
  const url = URL.createObjectURL(blob);
  urls.push(url);
  const link = byId(id);
  link.href = url;
  link.download = name;
}

/** Fetch the picture with its summary and legend, to be kept or sent on. */
async function downloadPicture() {
  const { sent, report } = checked;
  try {
    const blob = await (await ask("/v1/pictures", "image/svg+xml", sent)).blob();
    keep(blob, fileName(report, "picture.svg"));
  } catch (error) {
    byId("caption").textContent = `The picture could not be fetched: ${error.problem?.detail ?? error.message}`;
  }
}

/** Fetch a document made of the artwork that was checked; returns its bytes and where it is kept, if it is. */
async function made(path, accept) {
  byId("workshop-status").textContent = "Working it out …";
  const answer = await ask(path, accept, checked.sent);
  // A new window cannot send the key, so what needs one is not opened from its address.
  const place = key.value ? null : answer.headers.get("Content-Location");
  return { blob: await answer.blob(), place };
}

/** Open a page of the service in a window of its own; where that cannot be, download it. */
async function openMade(path, ending) {
  const { report } = checked;
  // Opened in the click itself, or the browser would take it for an advertisement.
  const window_ = key.value ? null : window.open("about:blank", "_blank");
  try {
    const { blob, place } = await made(path, "text/html");
    if (window_ && place) {
      window_.location.replace(new URL(place, location.href));
    } else {
      window_?.close();
      keep(blob, fileName(report, ending));
    }
    byId("workshop-status").textContent = "";
  } catch (error) {
    window_?.close();
    notMade(error);
  }
}

async function downloadMade(path, accept, ending) {
  const { report } = checked;
  try {
    const { blob } = await made(path, accept);
    keep(blob, fileName(report, ending));
    byId("workshop-status").textContent = "";
  } catch (error) {
    notMade(error);
  }
}

function keep(blob, name) {
  const link = make("a", { href: URL.createObjectURL(blob), download: name });
  urls.push(link.href);
  link.click();
}

function notMade(error) {
  const said = error.problem ? `${error.problem.detail} ${error.problem.advice}` : error.message;
  byId("workshop-status").textContent = `That could not be made: ${said}`;
}

async function showPicture(text, report) {
  const image = byId("picture");
  try {
    const url = URL.createObjectURL(new Blob([text], { type: "image/svg+xml" }));
    urls.push(url);
    image.src = url;
    await image.decode();
    image.alt = `The artwork with ${report.findings.length} numbered findings, listed beside it.`;
    image.hidden = false;
    const spots = addSpots(text, report);
    byId("caption").textContent = spots
      ? "The numbers are those of the list. Choose one to go to its finding."
      : "The artwork as the knife sees it.";
  } catch (error) {
    byId("caption").textContent = `The picture could not be drawn: ${error.message}`;
  }
}

/** Lay a link over each numbered marker. The picture is read for positions only, never inserted. */
function addSpots(text, report) {
  const picture = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  const [x0, y0, width, height] = (picture.getAttribute("viewBox") ?? "").split(/[\s,]+/).map(Number);
  if (!(width > 0 && height > 0)) return 0;
  let count = 0;
  for (const marker of picture.querySelectorAll("[data-finding][data-x][data-y]")) {
    const index = Number(marker.getAttribute("data-finding"));
    const finding = report.findings[index - 1];
    if (!finding) continue;
    const spot = make("a", { class: "spot", href: `#finding-${index}`, "aria-label": `Finding ${index}: ${finding.message}` });
    spot.style.left = `${((Number(marker.getAttribute("data-x")) - x0) / width) * 100}%`;
    spot.style.top = `${((Number(marker.getAttribute("data-y")) - y0) / height) * 100}%`;
    byId("stage").append(spot);
    count += 1;
  }
  return count;
}

function showChosen() {
  const [file] = artwork.files;
  byId("drop").classList.toggle("filled", Boolean(file));
  byId("artwork-name").textContent = file ? file.name : "Drop the artwork here, or choose a file";
}

artwork.addEventListener("change", showChosen);
for (const kind of ["dragenter", "dragover"]) {
  byId("drop").addEventListener(kind, () => byId("drop").classList.add("over"));
}
for (const kind of ["dragleave", "drop"]) {
  byId("drop").addEventListener(kind, () => byId("drop").classList.remove("over"));
}
// A file dropped beside the frame would replace the page.
for (const kind of ["dragover", "drop"]) {
  window.addEventListener(kind, (event) => {
    if (event.target !== artwork) event.preventDefault();
    if (kind === "drop" && event.target !== artwork && event.dataTransfer.files.length) {
      artwork.files = event.dataTransfer.files;
      showChosen();
    }
  });
}
jobFile.addEventListener("change", () => {
  settings.forEach((field) => { field.disabled = jobFile.files.length > 0; });
});
byId("download-picture").addEventListener("click", downloadPicture);
byId("sheet-open").addEventListener("click", () => openMade("/v1/jobsheets", "job-sheet.html"));
byId("sheet-pdf").addEventListener("click", () => downloadMade("/v1/jobsheets", "application/pdf", "job-sheet.pdf"));
byId("cut-open").addEventListener("click", () => openMade("/v1/rehearsals", "cut.html"));
form.addEventListener("submit", (event) => {
  event.preventDefault();
  check();
});
loadRules().catch(() => { /* The page works without the catalogue; the titles are then left out. */ });
showChosen();
