"use strict";
// Draws the vessel from the plan once, and the sampler in it after each entry.
const SVG = "http://www.w3.org/2000/svg";

function put(parent, name, attributes, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  parent.appendChild(node);
  return node;
}

// y grows upwards in the plan and downwards on the screen.
const flip = ([x, y]) => [x, -y];
const polygon = (points) => points.map((p) => flip(p).join(",")).join(" ");
const line = (a, b) => ({ x1: a[0], y1: -a[1], x2: b[0], y2: -b[1] });

class Picture {
  constructor(svg, projection, plan, fromAbove) {
    Object.assign(this, { projection, plan, fromAbove });
    const xs = projection.vessel.map((p) => p[0]), ys = projection.vessel.map((p) => p[1]);
    const wide = Math.max(...xs) - Math.min(...xs), high = Math.max(...ys) - Math.min(...ys);
    const rim = Math.max(...ys, ...projection.rims.flat().map((p) => p[1]));
    const top = fromAbove ? rim + high * 0.06 : rim + high * 0.3;
    const low = Math.min(...ys) - high * 0.06;
    svg.setAttribute("viewBox", [Math.min(...xs) - wide * 0.06, -top, wide * 1.12, top - low].join(" "));
    this.text = Math.max(wide, high) / (fromAbove ? 14 : 20);
    put(svg, "polygon", { points: polygon(projection.vessel), class: "p-vessel" });
    if (projection.powder.length) put(svg, "polygon", { points: polygon(projection.powder), class: "p-powder" });
    if (projection.shaft.length) put(svg, "polygon", { points: polygon(projection.shaft), class: "p-shaft" });
    for (const [a, b] of projection.rims) {
      if (fromAbove) put(svg, "ellipse", { cx: (a[0] + b[0]) / 2, cy: -(a[1] + b[1]) / 2, rx: Math.abs(b[0] - a[0]) / 2, ry: Math.abs(b[1] - a[1]) / 2, class: "p-rim" });
      else put(svg, "line", { ...line(a, b), class: "p-rim" });
    }
    this.layer = put(svg, "g", {});
  }

  show(page) {
    this.layer.replaceChildren();
    const here = page.sampler.place === "outside" ? -1 : page.sampler.location;
    const done = new Set(page.entered.map((n) => page.insertions[n][0]));
    const at = page.sampler.location;
    if (page.sampler.place === "powder" && page.entered.at(-1) === page.sampler.insertion - 1
      && page.entered.filter((n) => page.insertions[n][0] === at).length === 1) done.delete(at);
    this.projection.insertions.forEach((one, index) => {
      if (done.has(index)) put(this.layer, "line", { ...line(one.surface, one.tip), class: "p-wake", "stroke-width": 2 * this.plan.wake_mm });
      else if (index !== here) put(this.layer, "line", { ...line(one.entry, one.tip), class: "p-plan" });
    });
    this.projection.insertions.forEach((one, index) => {
      const [x, y] = flip(one.tip);
      const lower = this.fromAbove ? this.text * 0.35 : this.text * 1.1;
      put(this.layer, "text", { x, y: y + lower, "font-size": this.text, class: done.has(index) ? "p-code done" : "p-code" }, this.plan.locations[index][0]);
    });
    if (here >= 0) this.sampler(this.projection.insertions[here], page);
  }

  sampler(one, page) {
    const inside = page.sampler.place === "powder";
    // Before it is inserted its tip is held at the rim.
    const back = [one.entry[0] - one.tip[0], one.entry[1] - one.tip[1]];
    const moved = (p) => (inside ? p : [p[0] + back[0], p[1] + back[1]]);
    const wide = Math.max(this.plan.tube_mm, this.text * 0.45);
    put(this.layer, "line", { ...line(moved(one.handle), moved(one.tip)), class: "p-tube", "stroke-width": wide });
    for (const port of one.ports) {
      const [x, y] = flip(moved(port));
      put(this.layer, "circle", { cx: x, cy: y, r: wide * 0.62, class: page.port ? "p-port open" : "p-port" });
    }
  }
}

function drawCode(svg, rows) {
  const size = rows.length + 8;
  let path = "";
  rows.forEach((row, y) => [...row].forEach((dark, x) => { if (dark === "1") path += `M${x + 4} ${y + 4}h1v1h-1z`; }));
  svg.setAttribute("viewBox", `0 0 ${size} ${size}`);
  svg.replaceChildren();
  put(svg, "path", { d: path, "shape-rendering": "crispEdges" });
}
