// Routes of rounds on the map: a line a round, a numbered mark a stop. The tables say the same.
(() => {
  "use strict";

  const element = document.querySelector("[data-routes]");
  if (!element || !window.Ebbmark) {
    return;
  }
  const drawn = JSON.parse(document.getElementById(element.dataset.routes).textContent);
  const map = window.Ebbmark.baseMap(element);
  const all = [];

  const mark = (at, text, title, look) => {
    const label = document.createElement("span");
    label.textContent = text;
    const icon = L.divIcon({ className: `map-stop ${look}`, html: label, iconSize: [26, 26] });
    const words = document.createElement("p");
    words.textContent = title;
    L.marker(at, { icon, title, alt: title, keyboard: true }).bindPopup(words).addTo(map);
    all.push(at);
  };

  drawn.routes.forEach((route) => {
    L.polyline(route.stops.map((stop) => stop.at), { className: `route route-${route.look}`, interactive: false }).addTo(map);
  });
  drawn.routes.forEach((route) => {
    route.stops.forEach((stop) => mark(stop.at, stop.label, `${route.name}: ${stop.title}`, `map-stop-${stop.kind}`));
  });
  drawn.left_out.forEach((job) => mark(job.at, "–", job.title, "map-stop-out"));
  if (all.length) {
    map.fitBounds(all, { padding: [30, 30], maxZoom: 13 });
  }
})();
