// What every part of the script uses: the plan as far as it is shown, and short names for the page.
const data = JSON.parse(document.getElementById("plan").textContent);
const $ = (id) => document.getElementById(id);
const all = (css) => Array.from(document.querySelectorAll(css));
const make = (tag, words, cls) => {
  const e = document.createElement(tag);
  if (words !== undefined) e.textContent = words;
  if (cls) e.className = cls;
  return e;
};
