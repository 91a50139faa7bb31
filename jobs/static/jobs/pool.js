// The drawing board of an outline: corners by pointer or touch on a grid, or from the keyboard.
// The typed points stay the one truth: the board writes them there, and the page's own numbers follow from them.
"use strict";
(() => {
  const board = document.getElementById("board");
  if (!board) return;
  const form = board.closest("form");
  const typed = form.querySelector("textarea[name$=points_m]");
  const profile = form.querySelector("textarea[name$=profile]");
  const axis = form.querySelector("input[name$=axis_deg]");
  const svg = board.querySelector("svg");
  const said = board.querySelector("[data-said]");
  const figures = board.querySelector("[data-figures]");
  const snap = board.querySelector("[data-snap]");
  const word = board.dataset;
  const HIT_PX = 16;
  const DRAG_PX = 6;

  let points = [];
  let chosen = -1;
  let past = [];
  let future = [];
  let view = { x: 0, y: 0, width: Number(word.width), height: Number(word.height) };
  let held = null; // what the pointer is doing: {kind, ...}

  // ---- the typed points

  const near = (value) => Math.round(value * 100) / 100;
  const text = () => points.map(([x, y]) => `${near(x)}, ${near(y)}`).join("\n");

  function read() {
    const rows = typed.value.split("\n").map((row) => row.split(/[,;\s]+/).filter(Boolean).map(Number));
    return rows.filter((row) => row.length === 2 && row.every(Number.isFinite));
  }

  function write() {
    typed.value = text();
    typed.dispatchEvent(new Event("input", { bubbles: true }));
  }

  /** Change the points as one step that can be undone. */
  function change(next, choose = chosen) {
    past.push(points);
    past = past.slice(-200);
    future = [];
    points = next;
    chosen = Math.min(choose, points.length - 1);
    write();
    draw();
  }

  function step(from, to) {
    if (!from.length) return;
    to.push(points);
    points = from.pop();
    chosen = -1;
    write();
    draw();
  }
  const undo = () => step(past, future);
  const redo = () => step(future, past);

  // ---- figures, so that they move while the hand does; the page's own hold

  const pairs = (ring) => ring.map((point, n) => [point, ring[(n + 1) % ring.length]]);
  const cross = ([ax, ay], [bx, by]) => ax * by - bx * ay;
  const area = (ring) => Math.abs(pairs(ring).reduce((sum, [a, b]) => sum + cross(a, b), 0)) / 2;
  const edge = (ring) => pairs(ring).reduce((sum, [a, b]) => sum + Math.hypot(b[0] - a[0], b[1] - a[1]), 0);

  /** Area and its moment along x of the part of the ring between two lines x = low and x = high. */
  function part(ring, low, high) {
    const cut = (points, keep, at) =>
      pairs(points).flatMap(([a, b]) => {
        const there = [a[0] + ((b[0] - a[0]) * (at - a[0])) / (b[0] - a[0]), 0];
        there[1] = a[1] + ((b[1] - a[1]) * (at - a[0])) / (b[0] - a[0]);
        return [...(keep(a[0]) ? [a] : []), ...(keep(a[0]) !== keep(b[0]) ? [there] : [])];
      });
    const strip = cut(cut(ring, (x) => x >= low, low), (x) => x <= high, high);
    let twice = 0;
    let moment = 0;
    for (const [a, b] of strip.length > 2 ? pairs(strip) : []) {
      twice += cross(a, b);
      moment += (a[0] + b[0]) * cross(a, b);
    }
    return twice < 0 ? [-twice / 2, -moment / 6] : [twice / 2, moment / 6];
  }

  /** Water under the outline with the typed depths; null where they do not reach. */
  function water(ring) {
    const turn = ((Number(axis && axis.value) || 0) * Math.PI) / 180;
    const along = ring.map(([x, y]) => [
      x * Math.cos(turn) + y * Math.sin(turn),
      y * Math.cos(turn) - x * Math.sin(turn),
    ]);
    const start = Math.min(...along.map((point) => point[0]));
    const span = Math.max(...along.map((point) => point[0])) - start;
    const stations = (profile ? profile.value : "").split("\n").filter((row) => row.trim()).map((row) => {
      const [at, depth] = row.trim().split(/[,;\s]+/);
      return [at.toLowerCase() === "end" ? span : Number(at), Number(depth)];
    });
    if (stations.length < 2 || stations.flat().some((value) => !Number.isFinite(value))) return null;
    const moved = along.map(([x, y]) => [x - start, y]);
    let volume = 0;
    for (let n = 1; n < stations.length; n += 1) {
      const [[a, deepA], [b, deepB]] = [stations[n - 1], stations[n]];
      if (b <= a) return null;
      const [size, moment] = part(moved, a, b);
      volume += deepA * size + ((deepB - deepA) / (b - a)) * (moment - a * size);
    }
    return Math.abs(stations[stations.length - 1][0] - span) > 0.02 * span ? null : volume;
  }

  const side = (a, b, c) => (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
  const meet = ([a, b], [c, d]) => side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0;
  function crosses(ring) {
    const edges = pairs(ring);
    return edges.some((one, n) => edges.slice(n + 1).some((other) => meet(one, other)));
  }

  function tell(ring) {
    if (ring.length < 3) {
      figures.textContent = word.few;
      return;
    }
    if (crosses(ring)) {
      figures.textContent = word.crosses;
      return;
    }
    const shown = (value, decimals) => value.toLocaleString(document.documentElement.lang, {
      maximumFractionDigits: decimals, minimumFractionDigits: decimals,
    });
    const volume = water(ring);
    const metric = word.unit === "m";
    const parts = [
      `${word.area} ${shown(area(ring), metric ? 1 : 0)} ${metric ? "m²" : "sq ft"}`,
      `${word.edge} ${shown(edge(ring), 1)} ${word.unit}`,
    ];
    if (volume !== null) {
      parts.push(`${word.water} ${metric ? `${shown(volume, 1)} m³` : `${shown(volume * 7.48052, 0)} gal`}`);
    }
    figures.textContent = parts.join(" · ");
  }

  // ---- drawing

  const make = (name, attributes, parent) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    parent.append(made);
    return made;
  };
  const scale = () => svg.clientWidth / view.width || 1;
  const flip = (y) => 2 * view.y + view.height - y;
  const shape = (ring) => ring.map(([x, y]) => `${x},${flip(y)}`).join(" ");

  function grid() {
    const fine = Number(word.grid);
    for (let x = Math.ceil(view.x / fine) * fine; x <= view.x + view.width; x += fine)
      make("line", { class: "grid", x1: x, x2: x, y1: view.y, y2: view.y + view.height }, svg);
    for (let y = Math.ceil(view.y / fine) * fine; y <= view.y + view.height; y += fine)
      make("line", { class: "grid", x1: view.x, x2: view.x + view.width, y1: flip(y), y2: flip(y) }, svg);
  }

  function draw(ring = points) {
    svg.setAttribute("viewBox", `${view.x} ${view.y} ${view.width} ${view.height}`);
    svg.replaceChildren();
    grid();
    const px = 1 / scale();
    if (ring.length > 2) make("polygon", { class: "water", points: shape(ring) }, svg);
    if (ring.length > 1) make(ring.length > 2 ? "polygon" : "polyline", { class: "shell", points: shape(ring) }, svg);
    ring.forEach(([x, y], n) => {
      const many = ring.length > 24 && n !== chosen;
      make("circle", { class: n === chosen ? "corner chosen" : "corner", cx: x, cy: flip(y), r: (many ? 3 : 6) * px }, svg);
    });
    if (ring.length > 1 && ring.length <= 24) {
      for (const [a, b] of ring.length > 2 ? pairs(ring) : [ring]) {
        const long = Math.hypot(b[0] - a[0], b[1] - a[1]);
        if (long < 46 * px) continue;
        const label = make("text", {
          x: (a[0] + b[0]) / 2, y: flip((a[1] + b[1]) / 2) - 4 * px, "font-size": 12 * px, "text-anchor": "middle",
        }, svg);
        label.textContent = `${near(long)} ${word.unit}`;
      }
    }
    tell(ring);
    board.querySelector("[data-do=undo]").disabled = !past.length;
    board.querySelector("[data-do=redo]").disabled = !future.length;
    board.querySelector("[data-do=remove]").disabled = chosen < 0;
  }

  function announce() {
    said.textContent = chosen < 0 ? "" : word.corner
      .replace("{n}", chosen + 1).replace("{all}", points.length)
      .replace("{x}", near(points[chosen][0])).replace("{y}", near(points[chosen][1]));
  }

  /** Show the whole outline with room around it. */
  function fit() {
    const wide = Number(word.width);
    const high = Number(word.height);
    const xs = points.map((point) => point[0]);
    const ys = points.map((point) => point[1]);
    const low = points.length ? [Math.min(...xs), Math.min(...ys)] : [0, 0];
    const size = points.length ? [Math.max(...xs) - low[0], Math.max(...ys) - low[1]] : [0, 0];
    const by = Math.max(1, (size[0] * 1.3) / wide, (size[1] * 1.3) / high);
    const margin = [(wide * by - size[0]) / 2, (high * by - size[1]) / 2];
    view = { x: points.length ? low[0] - margin[0] : 0, y: points.length ? low[1] - margin[1] : 0, width: wide * by, height: high * by };
    draw();
  }

  // ---- pointer and touch

  const place = (event) => {
    const box = svg.getBoundingClientRect();
    const x = view.x + ((event.clientX - box.left) / box.width) * view.width;
    const y = flip(view.y + ((event.clientY - box.top) / box.height) * view.height);
    return [x, y];
  };
  const snapped = ([x, y]) => {
    const to = Number(snap.value);
    return [near(Math.round(x / to) * to), near(Math.round(y / to) * to)];
  };
  const same = (a, b) => a && b && a[0] === b[0] && a[1] === b[1];

  function cornerAt(at) {
    const reach = HIT_PX / scale();
    const far = points.map((point) => Math.hypot(point[0] - at[0], point[1] - at[1]));
    const least = Math.min(...far);
    return least <= reach ? far.indexOf(least) : -1;
  }

  /** The edge under the pointer, so that a tap on it puts a corner into it; -1 for none. */
  function edgeAt(at) {
    if (points.length < 3) return -1;
    const reach = (HIT_PX / 2) / scale();
    return pairs(points).findIndex(([a, b]) => {
      const long = (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2;
      const t = long ? ((at[0] - a[0]) * (b[0] - a[0]) + (at[1] - a[1]) * (b[1] - a[1])) / long : 0;
      if (t <= 0 || t >= 1) return false;
      return Math.hypot(a[0] + t * (b[0] - a[0]) - at[0], a[1] + t * (b[1] - a[1]) - at[1]) <= reach;
    });
  }

  svg.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    const at = place(event);
    const corner = cornerAt(at);
    held = { at, corner, from: [event.clientX, event.clientY], ring: points, moved: false };
    chosen = corner;
    svg.setPointerCapture(event.pointerId);
    draw();
  });

  svg.addEventListener("pointermove", (event) => {
    if (!held) return;
    held.moved ||= Math.hypot(event.clientX - held.from[0], event.clientY - held.from[1]) > DRAG_PX;
    if (!held.moved) return;
    const to = snapped(place(event));
    if (held.corner >= 0) {
      held.ring = points.map((point, n) => (n === held.corner ? to : point));
    } else {
      // A line drawn by hand: a corner at each new place of the grid, never nearer than some pixels.
      if (held.ring === points) held.ring = [...points, snapped(held.at)];
      const last = held.ring[held.ring.length - 1];
      const far = Math.hypot(to[0] - last[0], to[1] - last[1]) * scale();
      if (!same(last, to) && far >= 14 && !held.ring.slice(points.length).some((point) => same(point, to))) {
        held.ring = [...held.ring, to];
      }
    }
    draw(held.ring);
  });

  svg.addEventListener("pointerup", (event) => {
    if (!held) return;
    const done = held;
    held = null;
    if (done.moved) {
      if (done.ring !== points) change(done.ring, done.corner >= 0 ? done.corner : done.ring.length - 1);
      else draw();
    } else if (done.corner < 0) {
      const at = snapped(place(event));
      if (points.some((point) => same(point, at))) return;
      const into = edgeAt(place(event));
      const next = points.slice();
      next.splice(into < 0 ? points.length : into + 1, 0, at);
      change(next, into < 0 ? points.length : into + 1);
    }
    announce();
  });
  svg.addEventListener("pointercancel", () => {
    held = null;
    draw();
  });

  // ---- keyboard

  const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  svg.addEventListener("keydown", (event) => {
    const by = Number(snap.value);
    const arrow = ARROWS[event.key];
    if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") (event.shiftKey ? redo : undo)();
    else if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "y") redo();
    else if (event.ctrlKey || event.metaKey || event.altKey) return;
    else if (event.key === "PageDown" || event.key === "PageUp") {
      if (points.length) chosen = (chosen + (event.key === "PageDown" ? 1 : points.length - 1) + points.length) % points.length;
      draw();
    } else if (event.key === "Enter") add();
    else if ((event.key === "Delete" || event.key === "Backspace") && chosen >= 0) remove();
    else if (arrow && chosen >= 0) {
      change(points.map(([x, y], n) => (n === chosen ? [near(x + arrow[0] * by), near(y + arrow[1] * by)] : [x, y])));
    } else return;
    event.preventDefault();
    announce();
  });

  function add() {
    const after = chosen < 0 ? points.length - 1 : chosen;
    const [a, b] = [points[after], points[(after + 1) % points.length]];
    const middle = [view.x + view.width / 2, view.y + view.height / 2];
    const at = points.length > 1 ? [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2] : a ? [a[0] + 5 * Number(snap.value), a[1]] : middle;
    const next = points.slice();
    next.splice(after + 1, 0, snapped(at));
    change(next, after + 1);
  }

  function remove() {
    if (chosen < 0) return;
    change(points.filter((_, n) => n !== chosen), chosen - 1);
  }

  function zoom(by) {
    const middle = [view.x + view.width / 2, view.y + view.height / 2];
    const [width, height] = [view.width * by, view.height * by];
    if (width < 2 || width > 700) return;
    view = { x: middle[0] - width / 2, y: middle[1] - height / 2, width, height };
    draw();
  }

  const actions = { undo, redo, remove, fit, closer: () => zoom(0.8), wider: () => zoom(1.25), clear: () => points.length && change([], -1) };
  board.addEventListener("click", (event) => {
    const wanted = event.target.closest("button[data-do]");
    if (!wanted) return;
    actions[wanted.dataset.do]();
    announce();
  });

  // ---- the page around it

  typed.addEventListener("input", () => {
    const found = read();
    if (JSON.stringify(found) === JSON.stringify(points.map(([x, y]) => [near(x), near(y)]))) return;
    past.push(points);
    future = [];
    points = found;
    chosen = -1;
    fit();
  });
  for (const other of [profile, axis]) if (other) other.addEventListener("input", () => tell(points));
  const shown = new ResizeObserver(() => svg.clientWidth && draw());
  shown.observe(svg);
  board.hidden = false;
  points = read();
  fit();
})();
