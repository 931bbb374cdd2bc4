// Deviations.
function drawDeviations() {
  const list = $("deviations");
  if (!list) return;
  list.textContent = "";
  record.deviations.forEach((d, k) => {
    const box = make("div", undefined, "deviation");
    box.append(make("p", (k + 1) + ". written " + short(d.at), "when"));
    for (const [name, words] of [["step", "Step or piece"], ["what", "What was done"], ["why", "Why, and who agreed"], ["by", "Initials"]]) {
      const label = make("label", words);
      const input = make("input");
      input.type = "text";
      input.value = d[name];
      input.dataset.deviation = name;
      input.addEventListener("input", () => { d[name] = input.value; save(); });
      label.append(input);
      box.append(label);
    }
    const drop = make("button", "Take out", "drop");
    drop.type = "button";
    drop.addEventListener("click", () => { record.deviations.splice(k, 1); drawDeviations(); save(); });
    box.append(drop);
    list.append(box);
  });
}
function deviate(step) {
  record.deviations.push({ at: stamp(), step, what: "", why: "", by: "" });
  drawDeviations();
  save();
  const box = $("deviations").lastElementChild;
  box.querySelectorAll("input")[step ? 1 : 0].focus();
  box.scrollIntoView({ block: "center" });
}
all("[data-deviate]").forEach((b) => b.addEventListener("click", () => {
  go($("deviations").closest(".card").id);
  deviate(b.dataset.deviate);
}));
