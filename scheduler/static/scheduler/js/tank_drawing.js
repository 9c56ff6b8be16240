// Draws a tank and says its level as figures are typed; tank_readings.js has turned them.
(() => {
  "use strict";

  const SVG = "http://www.w3.org/2000/svg";
  const CALM_MS = 600; // words are spoken once the typing pauses
  const { FIGURES, NOT_READ, depthsOf, litresOf } = globalThis.tankReadings;
  const mm = (value) => `${Math.round(value).toLocaleString("en-GB")} mm`;

  const spoken = (litres, tank) => `${Math.round(litres / tank.perUnit).toLocaleString("en-GB")} ${tank.sign}`;

  const wordsOf = (depths, tank) => {
    if (depths.text) {
      return `Look again: ${depths.text}`;
    }
    const parts = [];
    if (depths.sludge !== null) {
      parts.push(`sludge ${mm(depths.sludge)}`);
    }
    if (depths.scum !== null) {
      parts.push(`scum ${mm(depths.scum)}`);
    }
    if (depths.level !== null) {
      const side = depths.level < 0 ? "below" : "above";
      parts.push(depths.level === 0 ? "liquid at the outlet" : `liquid ${mm(Math.abs(depths.level))} ${side} the outlet`);
    }
    let said = parts.join(", ");
    said = `${said.charAt(0).toUpperCase()}${said.slice(1)}.`;
    const litres = depths.sludge === null ? null : litresOf(depths, tank);
    if (litres && (depths.sludge || 0) + (depths.scum || 0) > tank.outlet) {
      said += ` That is more than the ${mm(tank.outlet)} below the outlet.`;
    } else if (litres) {
      const share = Math.round((100 * litres.solids) / litres.all);
      const where = tank.sealed ? "" : " below the outlet";
      said += ` About ${spoken(litres.solids, tank)} of ${spoken(litres.all, tank)}${where} (${share} %).`;
    } else if (depths.sludge !== null) {
      said += " The tank's own measures are not in the register, so this cannot be said in litres.";
    }
    if (tank.last && depths.sludge !== null) {
      said += ` On ${tank.last.on}: sludge ${mm(tank.last.sludge)}.`;
    }
    return said;
  };

  const make = (name, attributes, text) => {
    const node = document.createElementNS(SVG, name);
    Object.entries(attributes).forEach(([key, value]) => node.setAttribute(key, value));
    if (text) {
      node.textContent = text;
    }
    return node;
  };

  const LEFT = 24;
  const WIDE = 190;
  const TOP = 26;
  const FLOOR = 234;

  // One tank in section: wall, layers, outlet, cover, and the sludge of the time before.
  const draw = (svg, depths, tank, id) => {
    const top = tank.inside || tank.outlet * 1.25;
    const most = Math.max(top, tank.cover || 0);
    const scale = (FLOOR - TOP) / most;
    const y = (height) => FLOOR - height * scale;
    const round = Boolean(tank.inside);
    const wide = round ? Math.min(WIDE, tank.inside * scale) : WIDE;
    const left = LEFT + (WIDE - wide) / 2;
    const middle = LEFT + WIDE / 2;
    const wall = (look) =>
      round
        ? make("ellipse", { cx: middle, cy: y(tank.inside / 2), rx: wide / 2, ry: (tank.inside * scale) / 2, class: look })
        : make("rect", { x: left, y: y(top), width: wide, height: FLOOR - y(top), rx: 4, class: look });
    const clip = make("clipPath", { id });
    clip.append(wall(""));
    const inside = make("g", { "clip-path": `url(#${id})` });
    const layer = (from, to, look) => {
      const high = Math.max(0, y(from) - y(to));
      inside.append(make("rect", { x: LEFT, y: y(to), width: WIDE, height: high, class: look }));
    };
    const surface = tank.outlet + (depths.level || 0);
    const sludge = Math.min(depths.sludge || 0, most);
    const under = Math.max(0, surface - (depths.scum || 0));
    layer(0, most, "c-air");
    layer(0, surface, "c-water");
    layer(under, surface, "c-scum");
    layer(0, sludge, "c-sludge");
    const right = left + wide;
    const parts = [clip, inside, wall("c-shell")];
    const mark = (height, look, text, dy = 4) => {
      parts.push(make("line", { x1: right - 12, x2: right + 10, y1: y(height), y2: y(height), class: look }));
      parts.push(make("text", { x: right + 14, y: y(height) + dy, class: look === "c-shell" ? "c-soft" : "" }, text));
    };
    if (!tank.sealed) {
      mark(tank.outlet, "c-shell", "outlet", -5);
    }
    if (tank.cover) {
      parts.push(make("path", { d: `M${middle - 30} ${y(tank.cover)}h60m-50 0V${y(top)}m40 0V${y(tank.cover)}`, class: "c-shell" }));
    }
    if (depths.sludge !== null) {
      mark(sludge, "c-axis", `sludge ${mm(depths.sludge)}`, 12);
    }
    if (depths.scum) {
      mark(under, "c-axis", `scum ${mm(depths.scum)}`, 12);
    }
    if (tank.last) {
      const at = y(Math.min(tank.last.sludge, most));
      parts.push(make("line", { x1: left, x2: right, y1: at, y2: at, class: "tank-last" }));
    }
    svg.replaceChildren(...parts);
  };

  const tend = (part, index) => {
    const tank = JSON.parse(part.querySelector("script[type='application/json']").textContent);
    const figure = part.querySelector("[data-tank-drawing]");
    const svg = figure.querySelector("svg");
    const words = part.querySelector("[data-tank-words]");
    const field = (name) => part.querySelector(`[name$="-${name}"]`);
    const way = field("way");
    let waiting = 0;

    const figures = () => {
      const names = FIGURES[way.value].filter((name) => field(name) && field(name).value.trim() !== "");
      return Object.fromEntries(names.map((name) => [name, Number(field(name).value.replace(",", "."))]));
    };
    const show = (calm) => {
      part.querySelectorAll("[data-way]").forEach((group) => {
        const filled = [...group.querySelectorAll(".is-invalid")].length > 0;
        group.hidden = !group.dataset.way.split(" ").includes(way.value) && !filled;
      });
      const told = figures();
      const any = Object.keys(told).some((name) => !NOT_READ.has(name));
      const depths = any ? depthsOf(way.value, told, tank) : { sludge: null, scum: null, level: null };
      const drawable = Boolean(tank.outlet) && !depths.text;
      figure.hidden = !tank.outlet;
      if (drawable) {
        draw(svg, depths, tank, `tank-inside-${index}`);
      }
      clearTimeout(waiting);
      waiting = setTimeout(
        () => {
          words.textContent = any ? wordsOf(depths, tank) : "";
        },
        calm ? CALM_MS : 0,
      );
    };
    part.addEventListener("input", () => show(true));
    // Leaving a field is often the tap on the next: nothing may move under the finger.
    part.addEventListener("change", () => show(true));
    window.addEventListener("pageshow", () => show(false));
    document.addEventListener("draft:back", () => show(false));
    show(false);
  };

  document.querySelectorAll("[data-tank-reading]").forEach(tend);
})();
