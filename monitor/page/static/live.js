// Shows news as it comes. Without this script the page reloads every 30 seconds by itself.
"use strict";
(function () {
  var inside = document.getElementById("inside");
  var link = document.getElementById("link");
  if (!inside || !window.EventSource || !window.fetch) { return; }

  function busy() {
    // Somebody is typing: news must not take the words away.
    var at = document.activeElement;
    return at && inside.contains(at) && /^(INPUT|TEXTAREA|SELECT)$/.test(at.tagName);
  }
  function lost() {
    if (link.hidden) {
      link.querySelector("span").textContent = new Date().toTimeString().slice(0, 5);
      link.hidden = false;
    }
  }
  function look() {
    if (busy()) { return; }
    fetch("/main", { cache: "no-store" }).then(function (answer) {
      if (answer.status === 401) { location.reload(); return null; }
      return answer.ok ? answer.text() : null;
    }).then(function (text) {
      if (text === null) { return; }
      if (!busy()) { inside.innerHTML = text; }
      link.hidden = true;
    }, lost);
  }
  var news = new EventSource("/live");
  news.onmessage = look;
  news.onopen = function () { link.hidden = true; };
  news.onerror = lost;
}());
