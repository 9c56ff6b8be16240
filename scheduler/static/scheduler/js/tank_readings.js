// Turns what a crew reads in a tank into depths and litres, without signal: all it needs stands in
// the page. It does what servicing/readings.py does; a test runs both over the same figures.
(() => {
  "use strict";

  const FIGURES = {
    depths: ["sludge_mm", "scum_mm", "liquid_level_mm"],
    cover: ["down_floor", "down_sludge", "down_scum_top", "down_scum_bottom", "down_liquid"],
    notches: ["notch_sludge", "notch_scum", "notch_mm", "liquid_level_mm"],
    clear_space: ["clear_sludge", "clear_scum", "liquid_level_mm"],
  };
  const NOT_READ = new Set(["notch_mm", "down_floor"]);

  const known = (value) => value !== null && value !== undefined && !Number.isNaN(value);
  const whole = (value) => (known(value) ? Math.floor(value + 0.5) : null);
  const mm = (value) => `${Math.round(value).toLocaleString("en-GB")} mm`;

  class Refused extends Error {
    constructor(figure, text) {
      super(text);
      this.figure = figure;
    }
  }

  const inOrder = (told, floor) => {
    let before = null;
    [
      ["down_scum_top", "top of the scum"],
      ["down_scum_bottom", "underside of the scum"],
      ["down_sludge", "top of the sludge"],
    ].forEach(([name, words]) => {
      const at = told[name];
      if (!known(at)) {
        return;
      }
      if (before && at < before.at) {
        throw new Refused(name, `The ${words} cannot lie above the ${before.words}.`);
      }
      before = { words, at };
      if (known(floor) && at > floor) {
        throw new Refused(name, `The floor is ${mm(floor)} down: this lies below it.`);
      }
    });
    const liquid = told.down_liquid;
    if (!known(liquid)) {
      return;
    }
    if (known(floor) && liquid > floor) {
      throw new Refused("down_liquid", `The floor is ${mm(floor)} down: this lies below it.`);
    }
    if (known(told.down_scum_bottom) && liquid > told.down_scum_bottom) {
      throw new Refused("down_liquid", "The liquid cannot stand below the scum on it.");
    }
  };

  const scumBelow = (told) => {
    const bottom = told.down_scum_bottom;
    if (!known(bottom)) {
      if (known(told.down_scum_top)) {
        throw new Refused("down_scum_bottom", "Give the underside of the scum as well.");
      }
      return null;
    }
    const top = known(told.down_scum_top) ? told.down_scum_top : told.down_liquid;
    if (!known(top)) {
      throw new Refused("down_scum_top", "Give the top of the scum as well.");
    }
    return whole(bottom - top);
  };

  const fromCover = (told, tank) => {
    const floor = known(told.down_floor) ? told.down_floor : tank.cover;
    inOrder(told, floor);
    const sludge = told.down_sludge;
    const scum = scumBelow(told);
    if (!known(floor) && (known(sludge) || scum === null)) {
      throw new Refused("down_floor", "Measure down to the floor as well: the register does not hold it.");
    }
    const placed = known(told.down_liquid) && known(floor) && known(tank.outlet);
    const level = placed ? whole(floor - told.down_liquid - tank.outlet) : null;
    if (!known(sludge) && scum === null && level === null) {
      throw new Refused(
        "down_liquid",
        "How high the outlet is is not in the register: give the sludge or the scum as well.",
      );
    }
    return { sludge: known(sludge) ? whole(floor - sludge) : null, scum, level };
  };

  const byNotches = (told) => {
    const counted = known(told.notch_sludge) || known(told.notch_scum);
    if (counted && !told.notch_mm) {
      throw new Refused("notch_mm", "Say how far apart the notches of the stick are.");
    }
    const deep = (notches) => (known(notches) ? whole(notches * told.notch_mm) : null);
    return { sludge: deep(told.notch_sludge), scum: deep(told.notch_scum), level: whole(told.liquid_level_mm) };
  };

  const byClear = (told, tank) => {
    const pipe = tank.dipPipe || 0;
    let sludge = null;
    let scum = null;
    if (known(told.clear_sludge)) {
      if (!known(tank.outlet)) {
        throw new Refused(
          "clear_sludge",
          "How high the outlet is is not in the register: measure from the floor or the cover instead.",
        );
      }
      if (told.clear_sludge > tank.outlet - pipe) {
        throw new Refused("clear_sludge", `There are only ${mm(tank.outlet - pipe)} from there down to the floor.`);
      }
      sludge = whole(tank.outlet - pipe - told.clear_sludge);
    }
    if (known(told.clear_scum)) {
      if (!pipe) {
        throw new Refused(
          "clear_scum",
          "How long the outlet's dip pipe is is not in the register: measure how thick the scum is instead.",
        );
      }
      if (told.clear_scum > pipe) {
        throw new Refused("clear_scum", `The dip pipe hangs only ${mm(pipe)} down.`);
      }
      scum = whole(pipe - told.clear_scum);
    }
    return { sludge, scum, level: whole(told.liquid_level_mm) };
  };

  const asGiven = (told) => ({
    sludge: whole(told.sludge_mm),
    scum: whole(told.scum_mm),
    level: whole(told.liquid_level_mm),
  });

  const TURN = { depths: asGiven, cover: fromCover, notches: byNotches, clear_space: byClear };

  // Depths in whole mm, or {figure, text} where the figures cannot be.
  const depthsOf = (way, figures, tank) => {
    const told = Object.fromEntries(FIGURES[way].map((name) => [name, known(figures[name]) ? figures[name] : null]));
    try {
      Object.entries(told).forEach(([name, value]) => {
        if (value < 0 && name !== "liquid_level_mm") {
          throw new Refused(name, "A depth cannot be less than nothing.");
        }
      });
      return TURN[way](told, tank);
    } catch (fault) {
      if (fault instanceof Refused) {
        return { figure: fault.figure, text: fault.message };
      }
      throw fault;
    }
  };

  // Litres below a depth: straight lines between the rows of the table.
  const litresBelow = (table, depth) => {
    const at = Math.min(Math.max(depth, 0), table[table.length - 1][0]);
    const upper = Math.max(1, table.findIndex(([height]) => height >= at));
    const [low, less] = table[upper - 1];
    const [high, more] = table[upper];
    return less + ((more - less) * (at - low)) / (high - low);
  };

  // Litres of sludge and scum, and of all below the outlet; null where the tank is not known.
  const litresOf = (depths, tank) => {
    if (!tank.table.length) {
      return null;
    }
    const all = tank.table[tank.table.length - 1][1];
    const scum = all - litresBelow(tank.table, tank.outlet - (depths.scum || 0));
    return { solids: litresBelow(tank.table, depths.sludge || 0) + scum, all };
  };

  globalThis.tankReadings = { FIGURES, NOT_READ, depthsOf, litresOf };
})();
