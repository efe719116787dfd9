/**
 * Keeps the safety bar at the bottom of what is seen: under pinch zoom, and above an on-screen keyboard,
 * that is the visual viewport, while `position: fixed` goes by the layout viewport. In the top layer
 * nothing on the page can cover it.
 */
export function keepInSight(bar: HTMLElement): () => void {
  bar.showPopover?.();
  const seen = window.visualViewport;
  if (!seen) return () => {};
  const place = () => {
    const { scale, offsetLeft, offsetTop, width, height } = seen;
    const { clientHeight } = document.documentElement;
    bar.style.left = `${offsetLeft}px`;
    bar.style.bottom = `${clientHeight - offsetTop - height}px`;
    // As large as without zoom, so that it neither fills the view nor leaves it.
    bar.style.width = `${width * scale}px`;
    bar.style.transform = scale === 1 ? '' : `scale(${1 / scale})`;
  };
  place();
  for (const type of ['resize', 'scroll']) seen.addEventListener(type, place);
  addEventListener('scroll', place, { passive: true });
  return () => {
    for (const type of ['resize', 'scroll']) seen.removeEventListener(type, place);
    removeEventListener('scroll', place);
  };
}
