// Filter: hides what belongs to another area, phase or severity. Nothing is hidden without it.
"use strict";
(function () {
  var form = document.querySelector("form.filter");
  if (!form) return;
  form.hidden = false;
  var items = Array.prototype.slice.call(document.querySelectorAll("[data-filter]"));

  // An item that says nothing about a quality is not hidden by it.
  function fits(item, name, wanted) {
    if (!wanted) return true;
    var own = item.getAttribute("data-" + name);
    if (own === null) return true;
    return name === "area" ? own === wanted : own.split(" ").indexOf(wanted) >= 0;
  }

  function apply() {
    var chosen = ["area", "phase", "severity"].map(function (name) {
      return [name, form.elements[name].value];
    });
    var shown = {};
    items.forEach(function (item) {
      var keep = chosen.every(function (choice) { return fits(item, choice[0], choice[1]); });
      item.hidden = !keep;
      var kind = item.getAttribute("data-filter");
      shown[kind] = (shown[kind] || 0) + (keep ? 1 : 0);
    });
    document.querySelectorAll(".group").forEach(function (group) {
      group.hidden = !group.querySelector("[data-filter]:not([hidden])");
    });
    var any = chosen.some(function (choice) { return choice[1]; });
    form.elements.shown.value = any
      ? "Shown: " + ["retakes", "view sets", "findings", "files"].map(function (kind) {
          return (shown[kind] || 0) + " " + kind;
        }).join(", ")
      : "";
  }

  form.addEventListener("change", apply);
  form.addEventListener("submit", function (event) { event.preventDefault(); });
  form.addEventListener("reset", function () { setTimeout(apply, 0); });

  // A link to a finding that the filter hides shows everything again.
  window.addEventListener("hashchange", function () {
    var target = document.getElementById(location.hash.slice(1));
    if (target && target.closest("[hidden]")) {
      form.reset();
      setTimeout(function () { target.scrollIntoView(); }, 0);
    }
  });
})();
