// What pages make of the window that they are in: the key over a map, and the address.
function keyFolds(key, query) { // folded where the window is low or narrow until the reader chooses; open on paper
  const low = matchMedia(query), fold = () => { if (!paper) key.open = !low.matches; };
  let paper = false, kept = false;
  low.addEventListener("change", fold);
  key.firstElementChild.addEventListener("click", () => low.removeEventListener("change", fold)); // the reader's own choice stays
  addEventListener("beforeprint", () => { [paper, kept] = [true, key.open]; key.open = true; });
  addEventListener("afterprint", () => { paper = false; key.open = kept; });
  fold();
}

function keepAddress(address) {
  try { history.replaceState(null, "", address); } catch { /* some browsers keep no address of a file */ }
}
