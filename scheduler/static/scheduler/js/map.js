// Maps: a base that works without any tile service, and the three uses the register makes of it.
// Other pages: Ebbmark.baseMap(element) gives a Leaflet map with the base on it,
// Ebbmark.pin(latLng, text, look) a marker that needs no image file.
(() => {
  "use strict";

  const settings = JSON.parse(document.getElementById("map-settings").textContent);
  const ISLES = [[49.9, -10.6], [58.7, 1.8]];
  const NEAR = 15;

  const token = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  // Lines of latitude and longitude: with neither coast nor tiles in view they still say where one is.
  function drawGraticule(map, layer, lines) {
    layer.clearLayers();
    const bounds = map.getBounds();
    const wide = bounds.getEast() - bounds.getWest();
    const step = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 30].find((s) => wide / s < 9) || 30;
    const style = {
      color: token("--line-strong"),
      opacity: 0.35,
      weight: 1,
      interactive: false,
      pane: "graticule",
      renderer: lines,
    };
    const start = (value) => Math.floor(value / step) * step;
    for (let lon = start(bounds.getWest()); lon <= bounds.getEast(); lon += step) {
      L.polyline([[bounds.getSouth(), lon], [bounds.getNorth(), lon]], style).addTo(layer);
    }
    for (let lat = start(bounds.getSouth()); lat <= bounds.getNorth(); lat += step) {
      L.polyline([[lat, bounds.getWest()], [lat, bounds.getEast()]], style).addTo(layer);
    }
  }

  async function drawCoast(map) {
    const answer = await fetch(settings.coast);
    if (!answer.ok) {
      return;
    }
    const coast = await answer.json();
    L.geoJSON(coast, {
      pane: "coast",
      interactive: false,
      renderer: L.svg({ pane: "coast", padding: 0.5 }),
      style: { color: token("--line-strong"), weight: 1, fillColor: token("--paper"), fillOpacity: 1 },
    }).addTo(map);
  }

  function baseMap(element, options = {}) {
    const map = L.map(element, { ...options });
    map.attributionControl.setPrefix("");
    map.createPane("coast").style.zIndex = 200;
    map.createPane("graticule").style.zIndex = 210;
    L.control.scale({ imperial: false }).addTo(map);
    map.fitBounds(ISLES);
    if (settings.tiles) {
      L.tileLayer(settings.tiles, { attribution: settings.attribution, maxZoom: 19 }).addTo(map);
    } else {
      map.attributionControl.addAttribution("Coast: Natural Earth");
      const graticule = L.layerGroup().addTo(map);
      const lines = L.svg({ pane: "graticule" });
      map.on("moveend", () => drawGraticule(map, graticule, lines));
      drawGraticule(map, graticule, lines);
      drawCoast(map);
    }
    return map;
  }

  function pin(latLng, text, look = "") {
    const icon = L.divIcon({
      className: `map-pin ${look}`,
      html: "",
      iconSize: [24, 24],
      iconAnchor: [1, 23],
    });
    return L.marker(latLng, { icon, title: text, alt: text, keyboard: true });
  }

  function showOne(element) {
    const at = [Number(element.dataset.latitude), Number(element.dataset.longitude)];
    const map = baseMap(element);
    map.setView(at, settings.tiles ? NEAR : 11);
    pin(at, element.dataset.name || "Position").addTo(map);
  }

  function pickOne(element) {
    const fields = element.closest("fieldset");
    const latitude = fields.querySelector("[data-map-latitude]");
    const longitude = fields.querySelector("[data-map-longitude]");
    const map = baseMap(element);
    let marker = null;

    const typed = () => {
      const at = [Number.parseFloat(latitude.value), Number.parseFloat(longitude.value)];
      return at.every(Number.isFinite) && Math.abs(at[0]) <= 90 && Math.abs(at[1]) <= 180 ? at : null;
    };
    const show = (move) => {
      const at = typed();
      if (marker) {
        marker.remove();
        marker = null;
      }
      if (at) {
        marker = pin(at, "Position").addTo(map);
        if (move) {
          map.setView(at, settings.tiles ? NEAR : 11);
        }
      }
    };
    map.on("click", (event) => {
      latitude.value = event.latlng.lat.toFixed(6);
      longitude.value = event.latlng.wrap().lng.toFixed(6);
      show(false);
    });
    [latitude, longitude].forEach((field) => field.addEventListener("change", () => show(true)));
    // Nothing typed yet: begin where the place is, not with all the isles.
    const near = (latitude.dataset.mapNear || "").split(",").map(Number.parseFloat);
    if (near.length === 2 && near.every(Number.isFinite)) {
      map.setView(near, settings.tiles ? NEAR : 11);
    }
    show(true);
  }

  // How near a lid's due day is shows by size and by how its ring is drawn, and by colour besides.
  const LOOKS = {
    over: () => ({ radius: 9, color: token("--over"), fillColor: token("--over"), fillOpacity: 1, weight: 2 }),
    soon: () => ({ radius: 7, color: token("--soon"), fillColor: token("--soon-wash"), fillOpacity: 1, weight: 4 }),
    calm: () => ({ radius: 5, color: token("--calm"), fillColor: token("--calm-wash"), fillOpacity: 1, weight: 2 }),
    unknown: () => ({ radius: 5, color: token("--line-strong"), fillColor: token("--surface"), fillOpacity: 1, weight: 2, dashArray: "2 3" }),
  };

  function lidWords(lid) {
    const words = document.createElement("div");
    const link = document.createElement("a");
    link.href = lid.address;
    link.textContent = lid.reference;
    const place = document.createElement("div");
    place.textContent = lid.place;
    const due = document.createElement("div");
    due.textContent = lid.due;
    words.append(link, place, due);
    return words;
  }

  function listLids(list, lids) {
    list.replaceChildren(
      ...lids.slice(0, 50).map((lid) => {
        const item = document.createElement("li");
        const link = document.createElement("a");
        link.href = lid.address;
        link.textContent = lid.reference;
        item.append(link, ` ${lid.place} · ${lid.due}`);
        return item;
      }),
    );
  }

  function showLids(element) {
    const map = baseMap(element, { preferCanvas: true });
    const canvas = L.canvas({ padding: 0.3 });
    const layer = L.layerGroup().addTo(map);
    const said = document.getElementById("lids-said");
    const list = document.getElementById("lids-list");
    const filters = document.getElementById("lids-filters");
    let asked = 0;

    const load = async () => {
      asked += 1;
      const mine = asked;
      const query = new URLSearchParams(filters ? new FormData(filters) : undefined);
      query.set("bounds", map.getBounds().toBBoxString());
      const answer = await fetch(`${element.dataset.lids}?${query}`, {
        headers: { Accept: "application/json" },
      });
      if (mine !== asked) {
        return;
      }
      if (!answer.ok) {
        said.textContent = "The lids could not be fetched. Move the map to try once more.";
        return;
      }
      const { lids, more } = await answer.json();
      layer.clearLayers();
      lids.forEach((lid) => {
        L.circleMarker([lid.at[0], lid.at[1]], { renderer: canvas, ...LOOKS[lid.look]() })
          .bindPopup(() => lidWords(lid))
          .addTo(layer);
      });
      const shown = lids.length === 1 ? "1 lid in view" : `${lids.length} lids in view`;
      said.textContent = more ? `The first ${shown}: come closer to see the rest.` : `${shown}.`;
      listLids(list, lids);
    };

    if (element.dataset.bounds) {
      const [west, south, east, north] = element.dataset.bounds.split(",").map(Number);
      map.fitBounds([[south, west], [north, east]], { maxZoom: 13, padding: [30, 30] });
    }
    map.on("moveend", load);
    if (filters) {
      filters.addEventListener("submit", (event) => {
        event.preventDefault();
        load();
      });
      filters.addEventListener("change", load);
    }
    load();
  }

  window.Ebbmark = { baseMap, pin, token };
  document.querySelectorAll('[data-map="one"]').forEach(showOne);
  document.querySelectorAll('[data-map="pick"]').forEach(pickOne);
  document.querySelectorAll('[data-map="lids"]').forEach(showLids);
})();
