// Looks again two seconds after each look, as the page without script does, and changes only what is new.
const part = (page, id) => page.getElementById(id);

function show(fresh) {
  const [seen, now] = [part(document, "seen"), part(fresh, "seen")];
  if (seen?.tagName !== now?.tagName) return location.reload();
  if (seen) [seen.src, seen.alt] = [now.src, now.alt];
  for (const id of ["words", "act"]) {
    const [then, new_] = [part(document, id), part(fresh, id)];
    const number = [then, new_].map((each) => each.querySelector("[name=number]"));
    if (then.contains(document.activeElement) && number[1]) number[0].value = number[1].value;
    else if (then.innerHTML !== new_.innerHTML) then.innerHTML = new_.innerHTML;
  }
}

async function look() {
  try {
    const reply = await fetch("/", { cache: "no-store" });
    if (!reply.ok) throw new Error();
    show(new DOMParser().parseFromString(await reply.text(), "text/html"));
    setTimeout(look, 2000);
  } catch {
    part(document, "words").innerHTML = "<li>The preview has ended; begin again on the board.</li>";
  }
}

setTimeout(look, 2000);
