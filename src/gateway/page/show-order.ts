import { readKept } from './kept.ts';

/** The order of a show, as this browser keeps it for one prop. */
export interface ShowOrder {
  /** Names of cues, those that are left out of the show as well. */
  order: string[];
  /** Cues that are not in the show. */
  leftOut: string[];
  /** The cue that comes next. */
  next: string;
}

/** @param text as it was kept; what cannot be read is an order that nobody has chosen */
export function orderFrom(text: string | null): ShowOrder {
  const { order, leftOut, next } = (readKept(text) ?? {}) as Record<string, unknown>;
  return {
    order: names(order),
    leftOut: names(leftOut),
    next: typeof next === 'string' ? next : '',
  };
}

function names(list: unknown): string[] {
  return Array.isArray(list) ? list.filter((one) => typeof one === 'string') : [];
}

/**
 * Every cue of the prop in the order of the show: as it was chosen, and what came into the file since
 * then after the one that it follows in the file.
 * @param cues in the order of the file
 */
export function inOrder(cues: readonly string[], { order }: ShowOrder): string[] {
  const listed = [...new Set(order)].filter((name) => cues.includes(name));
  for (const [i, name] of cues.entries()) {
    if (listed.includes(name)) continue;
    const before = i === 0 ? -1 : listed.indexOf(cues[i - 1]!);
    listed.splice(before + 1, 0, name);
  }
  return listed;
}

/** The cues of the show itself, in their order. */
export function inShow(cues: readonly string[], kept: ShowOrder): string[] {
  return inOrder(cues, kept).filter((name) => !kept.leftOut.includes(name));
}

/** The cue that comes next: the first one where none was chosen, or where that is gone. */
export function nextOf(show: readonly string[], { next }: ShowOrder): string | undefined {
  return show.includes(next) ? next : show[0];
}

/** The cue so many places after another one; after the last comes the first. */
export function stepFrom(show: readonly string[], name: string, by: number): string {
  const at = show.indexOf(name);
  return show[(at + by + show.length) % show.length] ?? name;
}

/** The list with one of its names at another place; a place beyond an end is that end. */
export function moved(list: readonly string[], name: string, to: number): string[] {
  const rest = list.filter((one) => one !== name);
  const at = Math.min(Math.max(to, 0), rest.length);
  return [...rest.slice(0, at), name, ...rest.slice(at)];
}

/** A time for people: whole seconds up to a minute, `1:05` from there on. */
export function duration(seconds: number): string {
  const whole = Math.max(0, Math.round(seconds));
  if (whole < 60) return `${whole} s`;
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, '0')}`;
}

/** How long a cue takes. @param durationS the longest if nothing delays it (s); null without an end */
export function takesText(durationS: number | null): string {
  return durationS === null ? 'until ended' : `takes ${durationS.toFixed(1)} s`;
}

/**
 * How long a cue has run and what is left of it.
 * @param durationS the longest that it takes if nothing delays it (s); null for one without an end
 */
export function elapsedText(elapsedS: number, durationS: number | null): string {
  const has = duration(Math.floor(elapsedS));
  if (durationS === null) return `${has}, until ended`;
  const leftS = durationS - elapsedS;
  return leftS >= -0.5
    ? `${has} · ${duration(Math.ceil(Math.max(0, leftS)))} left`
    : `${has} · late`;
}
