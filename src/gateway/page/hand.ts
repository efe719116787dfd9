/** What was pressed last: there the hand is, and there an answer is looked for. */
let last: Element | undefined;
const GAP_PX = 8;

/** Watches what is pressed, by pointer or by key. */
export function watchHand(): void {
  const note = (event: Event) => {
    if (event.target instanceof Element)
      last = event.target.closest('button, input, select, summary, a, label') ?? event.target;
  };
  for (const type of ['pointerdown', 'keydown', 'submit']) addEventListener(type, note, true);
}

/** Places a box beside the hand: under what was pressed where there is room, else above it. */
export function placeByHand(box: HTMLElement): void {
  const { innerHeight, innerWidth } = window;
  const { width, height } = box.getBoundingClientRect();
  const bar = document.querySelector('.safety')?.getBoundingClientRect().top ?? innerHeight;
  const strip = document.querySelector('.strip')?.getBoundingClientRect().bottom ?? 0;
  const seen = last?.isConnected ? last.getBoundingClientRect() : undefined;
  const lowest = bar - height - GAP_PX;
  const under = (seen?.bottom ?? innerHeight) + GAP_PX;
  const above = (seen?.top ?? innerHeight) - height - GAP_PX;
  const top = under <= lowest ? under : Math.min(above, lowest);
  const left = (seen?.left ?? GAP_PX) + Math.min(0, innerWidth - width - GAP_PX);
  box.style.top = `${Math.max(top, strip + GAP_PX)}px`;
  box.style.left = `${Math.max(GAP_PX, Math.min(seen?.left ?? left, innerWidth - width - GAP_PX))}px`;
}
