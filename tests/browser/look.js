// Looks over a page as it lies on the screen and returns what is wrong, in words.
// Given how wide the window is; run after fonts and layout have settled.
(width) => {
  const found = [];
  const name = (node) => {
    const element = node.nodeType === 3 ? node.parentElement : node;
    const text = (node.textContent || "").trim().slice(0, 40);
    return `${element.tagName.toLowerCase()}.${element.getAttribute("class") || ""} "${text}"`;
  };
  const root = document.scrollingElement;
  if (root.scrollWidth > width) {
    found.push(`the page scrolls sideways: ${root.scrollWidth} > ${width}`);
  }

  // Words for screen readers alone are kept, clipped to nothing.
  const forReadersOnly = (element) => {
    for (let up = element; up && up !== document.body; up = up.parentElement) {
      if (getComputedStyle(up).clipPath === "inset(50%)") return true;
    }
    return false;
  };
  // The part of a box that can be seen where a frame around it scrolls; null when none can.
  const seen = (element, box) => {
    let { left, right, top, bottom } = box;
    for (let up = element; up && up !== document.body; up = up.parentElement) {
      if (up.closest("svg") || !["auto", "scroll"].includes(getComputedStyle(up).overflowX)) continue;
      const frame = up.getBoundingClientRect();
      left = Math.max(left, frame.left);
      right = Math.min(right, frame.right);
    }
    return right - left < 1 ? null : { left, right, top, bottom, height: bottom - top };
  };

  // Every run of text that can be seen, line by line.
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const lines = [];
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const element = node.parentElement;
    if (!node.textContent.trim() || element.closest("script, style, title")) continue;
    if (forReadersOnly(element)) continue;
    if (!element.checkVisibility({ visibilityProperty: true, opacityProperty: true })) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const box of range.getClientRects()) {
      if (box.width < 1 || box.height < 1) continue;
      const part = seen(element, box);
      if (part) lines.push({ node, element, box: part });
    }
  }

  for (const { node, element, box } of lines) {
    // Text of a figure can't wrap: it must lie within its figure.
    const svg = element.closest("svg");
    const edge = svg ? svg.getBoundingClientRect() : { left: 0, right: width };
    if (box.left < edge.left - 1 || box.right > edge.right + 1) {
      found.push(`cut at the side: ${name(node)} ${box.left.toFixed(0)}..${box.right.toFixed(0)}`);
    }
    if (svg && (box.top < edge.top - 2 || box.bottom > edge.bottom + 2)) {
      found.push(`cut at an end of its figure: ${name(node)}`);
    }
    for (let up = element; up && up !== document.body; up = up.parentElement) {
      const style = getComputedStyle(up);
      if (up.closest("svg") || !["hidden", "clip"].includes(style.overflowX)) continue;
      const frame = up.getBoundingClientRect();
      if (box.right > frame.right + 1 || box.bottom > frame.bottom + 1) {
        found.push(`cut by its frame: ${name(node)}`);
      }
    }
  }

  // No two lines of text lie on each other.
  lines.sort((a, b) => a.box.top - b.box.top);
  for (let i = 0; i < lines.length; i++) {
    for (let j = i + 1; j < lines.length; j++) {
      const a = lines[i].box, b = lines[j].box;
      if (b.top > a.bottom) break;
      if (lines[i].node === lines[j].node) continue;
      const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      // Boxes of lines hold their leading, so they may touch; letters begin further in.
      if (across > 2 && down > 0.4 * Math.min(a.height, b.height)) {
        found.push(`on each other: ${name(lines[i].node)} and ${name(lines[j].node)}`);
      }
    }
  }

  // No word is broken to fit.
  for (const node of new Set(lines.map((line) => line.node))) {
    if (node.parentElement.closest("bdi")) continue; // names are whatever people call things
    for (const match of node.textContent.matchAll(/[^\s-]{2,24}/g)) {
      if (/[<>]/.test(match[0])) continue; // part of a hostile name, in a sentence
      const range = document.createRange();
      range.setStart(node, match.index);
      range.setEnd(node, match.index + match[0].length);
      const tops = [...range.getClientRects()].filter((box) => box.width > 0.5).map((box) => box.top);
      if (Math.max(...tops) - Math.min(...tops) > 4) {
        found.push(`a broken word: "${match[0]}" in ${name(node)}`);
      }
    }
  }

  for (const { node, element } of lines) {
    const svg = element.closest("svg");
    const scale = svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
    const size = parseFloat(getComputedStyle(element).fontSize) * scale;
    // On paper seven points, as on the sheet for the shed.
    const least = matchMedia("print").matches ? 9.3 : svg ? 11.95 : 10.4;
    if (size < least) found.push(`too small to read outdoors: ${size.toFixed(1)} px ${name(node)}`);
  }
  return [...new Set(found)];
}
