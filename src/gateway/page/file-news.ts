import { signal } from '@preact/signals';
import type { FileNews } from '../../api/types.ts';

/**
 * How the prop file on the disk stands to the prop, where that is worth a word: `waits` until the prop
 * is parked, is not in use for a `problem`, or is in use again after either of these.
 */
export interface Shown extends FileNews {
  kind: 'waits' | 'problem' | 'over';
}

export const fileNews = signal<Shown | undefined>(undefined);
/** Somebody has read it and put it aside; it can be opened again. */
export const newsHidden = signal(false);

/**
 * What the daemon said last of the file; neither pending nor a problem means that it is in use.
 * @param quietly it opens only when it is asked for: nothing may shift under a finger that moves a prop
 */
export function takeNews(news: FileNews, quietly = false): void {
  const next = shown(news);
  const before = fileNews.peek();
  if (!next) {
    // A fault that was shown is followed by word that it is over; without one nothing is shown.
    const wasShown = before !== undefined && before.kind !== 'over';
    fileNews.value = wasShown ? { ...news, kind: 'over' } : undefined;
    if (wasShown) newsHidden.value = quietly;
    return;
  }
  if (JSON.stringify(next) !== JSON.stringify(before)) newsHidden.value = quietly;
  fileNews.value = next;
}

function shown(news: FileNews): Shown | undefined {
  if (news.problem !== undefined) return { ...news, kind: 'problem' };
  return news.pending ? { ...news, kind: 'waits' } : undefined;
}

/** Puts it aside; one that is over is done with. */
export function hideNews(): void {
  if (fileNews.peek()?.kind === 'over') fileNews.value = undefined;
  else newsHidden.value = true;
}
