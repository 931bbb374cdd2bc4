// What every part of the script uses: the facts of this book and short names for the page.
const book = JSON.parse(document.getElementById("book").textContent);
const $ = (id) => document.getElementById(id);
const all = (css, from) => Array.from((from || document).querySelectorAll(css));
const make = (tag, words, cls) => {
  const e = document.createElement(tag);
  if (words !== undefined) e.textContent = words;
  if (cls) e.className = cls;
  return e;
};
const button = (words, action, cls) => {
  const b = make("button", words, cls);
  b.type = "button";
  b.addEventListener("click", action);
  return b;
};
document.documentElement.classList.add("js");
