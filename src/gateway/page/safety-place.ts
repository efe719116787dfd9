/**
 * Keeps the safety bar at the bottom of what is seen: under pinch zoom, and above an on-screen keyboard,
 * that is the visual viewport, while `position: fixed` goes by the layout viewport. In the top layer
 * nothing on the page can cover it.
 */
export function keepInSight(bar: HTMLElement): () => void {
  bar.showPopover?.();
  // What stands just above the bar goes by its height, which hangs on the words in it.
  const sized = new ResizeObserver(() =>
    document.documentElement.style.setProperty('--bar', `${bar.offsetHeight}px`),
  );
  sized.observe(bar);
  const seen = window.visualViewport;
  if (!seen) return () => sized.disconnect();
  let bottom = 0;
  const place = () => {
    const { scale, offsetLeft, offsetTop, width, height } = seen;
    const box = bar.getBoundingClientRect();
    // Not shown, such as on paper: there is nothing to measure.
    if (box.height === 0) return;
    // Measured, as what `bottom` counts from moves where a browser's own bars slide away.
    bottom += box.bottom - (offsetTop + height);
    bar.style.left = `${offsetLeft}px`;
    bar.style.bottom = `${bottom}px`;
    // As large as without zoom, so that it neither fills the view nor leaves it.
    bar.style.width = `${width * scale}px`;
    bar.style.transform = scale === 1 ? '' : `scale(${1 / scale})`;
  };
  place();
  for (const type of ['resize', 'scroll']) seen.addEventListener(type, place);
  for (const type of ['resize', 'scroll']) addEventListener(type, place, { passive: true });
  return () => {
    sized.disconnect();
    for (const type of ['resize', 'scroll']) seen.removeEventListener(type, place);
    for (const type of ['resize', 'scroll']) removeEventListener(type, place);
  };
}
