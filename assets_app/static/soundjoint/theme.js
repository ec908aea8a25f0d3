// The stored choice of light or dark, set before the page is painted; without a choice the device decides.
(function () {
  "use strict";
  var root = document.documentElement;
  function stored() {
    try { return localStorage.getItem("soundjoint-theme") || ""; } catch (e) { return ""; }
  }
  function apply(choice) {
    if (choice) { root.dataset.theme = choice; } else { delete root.dataset.theme; }
  }
  apply(stored());
  document.addEventListener("DOMContentLoaded", function () {
    var box = document.querySelector(".theme");
    if (!box) { return; }
    var buttons = box.querySelectorAll("button");
    function mark() {
      buttons.forEach(function (b) { b.setAttribute("aria-pressed", String(b.value === stored())); });
    }
    buttons.forEach(function (button) {
      button.addEventListener("click", function () {
        try { localStorage.setItem("soundjoint-theme", button.value); } catch (e) { /* not kept, still shown */ }
        apply(button.value);
        mark();
      });
    });
    box.hidden = false;
    mark();
  });
})();
