// Touch a bolt of the drawing: each touch takes its radio one state further. The radios stay the way in without a script.
(function () {
  "use strict";
  var ORDER = ["ok", "loose", "missing", "broken"], SVG = "http://www.w3.org/2000/svg";
  var figure = document.querySelector("[data-bolt-sheet]"), form = document.getElementById("sheet");
  if (!figure || !form) { return; }

  function radios(number) {
    return Array.prototype.slice.call(form.querySelectorAll('input[name="b' + number + '-state"]'));
  }

  function state(number) {
    var chosen = radios(number).filter(function (radio) { return radio.checked; })[0];
    return chosen ? chosen.value : "";
  }

  function show(bolt) {
    var now = state(bolt.dataset.bolt), disc = bolt.querySelector(".touch"), word = bolt.querySelector(".state-word");
    bolt.classList.toggle("chosen", now !== "");
    if (!word) {
      word = document.createElementNS(SVG, "text");
      word.setAttribute("class", "state-word");
      word.setAttribute("text-anchor", "middle");
      word.setAttribute("font-size", "12");
      // towards the middle, so that the number outside stays free
      var box = figure.querySelector("svg").viewBox.baseVal;
      var x = Number(disc.getAttribute("cx")), y = Number(disc.getAttribute("cy"));
      var dx = box.width / 2 - x, dy = box.height / 2 - y, away = Math.hypot(dx, dy) || 1;
      word.setAttribute("x", x + 15 * dx / away);
      word.setAttribute("y", y + (away > 1 ? 15 * dy / away : 15) + 4);
      bolt.appendChild(word);
    }
    word.textContent = now;
  }

  var bolts = figure.querySelectorAll("[data-bolt]");
  figure.hidden = false;
  bolts.forEach(show);
  figure.addEventListener("click", function (event) {
    var bolt = event.target.closest("[data-bolt]");
    if (!bolt) { return; }
    var next = ORDER[(ORDER.indexOf(state(bolt.dataset.bolt)) + 1) % ORDER.length];
    radios(bolt.dataset.bolt).forEach(function (radio) { radio.checked = radio.value === next; });
    show(bolt);
  });
  form.addEventListener("change", function () { bolts.forEach(show); });
})();
