"use strict";
(() => {
  const data = JSON.parse(document.getElementById("cut").textContent);
  const [speed, acceleration, travelSpeed, travelAcceleration] = data.machine;
  const doing = ["moving, knife up", "lowering the knife", "cutting", "lifting the knife", "done"];
  const find = (id) => document.getElementById(id);
  const canvas = find("film");
  const context = canvas.getContext("2d");
  const done = document.createElement("canvas");
  const doneContext = done.getContext("2d");
  const margin = 14;
  let film, total, scale, pixel, now = 0, drawn = 0, playing = false, before = null;

  // How much of a chord is behind the machine: up to a peak with the set acceleration, then down from it.
  const share = (since, time, length, enter, leave, most, rate) => {
    if (!(length > 0) || since >= time) return 1;
    if (since <= 0) return 0;
    const peak = Math.min(Math.sqrt((enter * enter + leave * leave) / 2 + rate * length), most);
    const rising = (peak - enter) / rate, left = time - since;
    let way;
    if (since <= rising) way = enter * since + rate * since * since / 2;
    else if (left <= (peak - leave) / rate) way = length - leave * left - rate * left * left / 2;
    else way = (peak * peak - enter * enter) / (2 * rate) + peak * (since - rising);
    return Math.min(Math.max(way / length, 0), 1);
  };

  // The last index of a rising list whose value is at most the one given.
  const last = (list, value) => {
    let low = 0, high = list.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (list[middle] <= value) low = middle + 1; else high = middle;
    }
    return low - 1;
  };

  const position = (seconds) => {
    const i = Math.max(last(film.begins, seconds), 0);
    const kind = film.kinds[i], contour = film.owners[i] - 1;
    const [x, y, t, v] = film.ways[contour];
    const end = x.length - 1;
    if (seconds >= total) return {x: x[end], y: y[end], kind: 4, contour, point: end, part: 1};
    const since = Math.min(seconds, film.ends[i]) - film.begins[i];
    if (kind === 1) return {x: x[0], y: y[0], kind, contour, point: 0, part: 0};
    if (kind === 3) return {x: x[end], y: y[end], kind, contour, point: end, part: 0};
    if (kind === 0) {
      const [fromX, fromY] = left(contour);
      const length = Math.hypot(x[0] - fromX, y[0] - fromY);
      const part = share(since, film.ends[i] - film.begins[i], length, 0, 0, travelSpeed, travelAcceleration);
      return {x: fromX + part * (x[0] - fromX), y: fromY + part * (y[0] - fromY), kind, contour, point: 0, part: 0};
    }
    const at = Math.min(Math.max(last(t, since), 0), end - 1);
    const length = Math.hypot(x[at + 1] - x[at], y[at + 1] - y[at]);
    const part = share(since - t[at], t[at + 1] - t[at], length, v[at], v[at + 1], speed, acceleration);
    return {x: x[at] + part * (x[at + 1] - x[at]), y: y[at] + part * (y[at + 1] - y[at]), kind, contour, point: at, part};
  };

  // Where the knife came up before a contour.
  const left = (contour) => {
    if (contour === 0) return [0, 0];
    const [x, y] = film.ways[contour - 1];
    return [x[x.length - 1], y[y.length - 1]];
  };

  const spotX = (x) => margin + x * scale;
  const spotY = (y) => margin + y * scale;

  const trace = (target, contour, count) => {
    const [x, y] = film.ways[contour];
    target.moveTo(spotX(x[0]), spotY(y[0]));
    for (let i = 1; i < count; i++) target.lineTo(spotX(x[i]), spotY(y[i]));
  };

  const prepare = (target) => {
    target.setTransform(pixel, 0, 0, pixel, 0, 0);
    target.lineCap = target.lineJoin = "round";
  };

  const fit = () => {
    const wide = Math.max(canvas.parentElement.clientWidth, 240);
    const [w, h] = film.size.map((side) => Math.max(side, 0.001));
    scale = Math.min((wide - 2 * margin) / w, (Math.max(window.innerHeight * 0.72, 240) - 2 * margin) / h);
    pixel = window.devicePixelRatio || 1;
    const width = w * scale + 2 * margin, height = h * scale + 2 * margin;
    for (const one of [canvas, done]) {
      one.width = Math.ceil(width * pixel);
      one.height = Math.ceil(height * pixel);
    }
    canvas.style.width = `${width}px`;
    canvas.style.height = `${height}px`;
    restart();
  };

  // The film before the first cut: all contours, faint.
  const restart = () => {
    prepare(doneContext);
    doneContext.clearRect(0, 0, done.width, done.height);
    doneContext.beginPath();
    for (let i = 0; i < film.ways.length; i++) trace(doneContext, i, film.ways[i][0].length);
    doneContext.lineWidth = 1;
    doneContext.strokeStyle = "#98a4af";
    doneContext.stroke();
    drawn = 0;
  };

  const complete = (upTo) => {
    if (upTo < drawn) restart();
    if (upTo === drawn) return;
    doneContext.beginPath();
    for (let i = drawn; i < upTo; i++) trace(doneContext, i, film.ways[i][0].length);
    doneContext.lineWidth = 2;
    doneContext.strokeStyle = "#1b2229";
    doneContext.stroke();
    drawn = upTo;
  };

  const knife = (at) => {
    const x = spotX(at.x), y = spotY(at.y), down = at.kind === 2;
    context.beginPath();
    context.moveTo(x - 13, y);
    context.lineTo(x + 13, y);
    context.moveTo(x, y - 13);
    context.lineTo(x, y + 13);
    context.lineWidth = 1;
    context.strokeStyle = "#b3201f";
    context.stroke();
    context.beginPath();
    context.arc(x, y, 5.5, 0, 2 * Math.PI);
    context.lineWidth = 2;
    context.fillStyle = down ? "#b3201f" : "#ffffff";
    context.fill();
    context.stroke();
  };

  const draw = (at) => {
    complete(at.kind >= 3 ? at.contour + 1 : at.contour);
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, canvas.width, canvas.height);
    context.drawImage(done, 0, 0);
    prepare(context);
    if (at.kind === 2) {
      context.beginPath();
      trace(context, at.contour, at.point + 1);
      context.lineTo(spotX(at.x), spotY(at.y));
      context.lineWidth = 2.6;
      context.strokeStyle = "#b3201f";
      context.stroke();
    } else if (at.kind === 0) {
      const [x, y] = left(at.contour), way = film.ways[at.contour];
      context.beginPath();
      context.setLineDash([5, 4]);
      context.moveTo(spotX(x), spotY(y));
      context.lineTo(spotX(way[0][0]), spotY(way[1][0]));
      context.lineWidth = 1.2;
      context.strokeStyle = "#2a64a6";
      context.stroke();
      context.setLineDash([]);
    }
    knife(at);
  };

  const clock = (seconds) => {
    const tenths = Math.round(seconds * 10);
    const minutes = Math.floor(tenths / 600), rest = (tenths - minutes * 600) / 10;
    return `${minutes}:${rest.toFixed(1).padStart(4, "0")}`;
  };

  const show = () => {
    const at = position(now);
    draw(at);
    find("elapsed").textContent = clock(now);
    find("remaining").textContent = clock(total - now);
    find("contour").textContent = `${at.contour + 1} of ${film.ways.length}`;
    const where = find("where");
    where.textContent = `x ${at.x.toFixed(1)} mm, y ${at.y.toFixed(1)} mm`;
    Object.assign(where.dataset, {x: at.x, y: at.y, seconds: now, kind: at.kind, contour: at.contour + 1});
    find("doing").textContent = doing[at.kind];
    find("scrub").value = String(now);
    find("scrub").setAttribute("aria-valuetext", `${clock(now)} of ${clock(total)}`);
  };

  const go = (seconds) => {
    now = Math.min(Math.max(seconds, 0), total);
    show();
  };

  const play = (on) => {
    if (on && now >= total) now = 0;
    playing = on;
    before = null;
    find("play").textContent = on ? "Pause" : "Play";
    if (on) requestAnimationFrame(frame);
  };

  const frame = (stamp) => {
    if (!playing) return;
    if (before !== null) go(now + (stamp - before) / 1000 * Number(find("speed").value));
    before = stamp;
    if (now >= total) play(false); else requestAnimationFrame(frame);
  };

  const step = (by) => {
    const contour = position(now).contour;
    const first = (wanted) => film.begins[film.owners.indexOf(wanted + 1)];
    play(false);
    if (by < 0 && now > first(contour) + 1e-6) go(first(contour));
    else go(contour + by < 0 ? 0 : contour + by >= film.ways.length ? total : first(contour + by));
  };

  const choose = (index) => {
    film = data.films[index];
    total = film.ends[film.ends.length - 1];
    find("scrub").max = String(total);
    document.querySelectorAll("[data-film]").forEach((part) => {
      part.hidden = Number(part.dataset.film) !== index;
    });
    play(false);
    fit();
    go(0);
  };

  find("play").addEventListener("click", () => play(!playing));
  find("back").addEventListener("click", () => step(-1));
  find("on").addEventListener("click", () => step(1));
  find("scrub").addEventListener("input", (event) => { play(false); go(Number(event.target.value)); });
  find("which").addEventListener("change", (event) => choose(Number(event.target.value)));
  window.addEventListener("resize", () => { fit(); show(); });
  document.addEventListener("keydown", (event) => {
    if (event.key !== " " || event.target !== document.body) return;
    event.preventDefault();
    play(!playing);
  });
  choose(0);
})();
