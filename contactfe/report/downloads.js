"use strict";
document.documentElement.classList.add("live");
for (const link of document.querySelectorAll("a[data-own]")) link.href = link.closest("figure").querySelector("img").src;
