import { signal } from '@preact/signals';
import { browserKept, readKept } from './kept.ts';

/** Colours that the file accepts by these names (CSS Color 4, section 6.1), and what they look like. */
export const PRESETS: Readonly<Record<string, string>> = {
  white: '#ffffff',
  moccasin: '#ffe4b5',
  orange: '#ffa500',
  red: '#ff0000',
  magenta: '#ff00ff',
  blue: '#0000ff',
  cyan: '#00ffff',
  lime: '#00ff00',
  black: '#000000',
};

const KEY = 'sinew-colours';
const MOST = 6;

/** The colours that were chosen last on this device, as hex, newest first; none that is a preset. */
export const recent = signal(recentFrom(browserKept.getItem(KEY)));

/** @param text as it was kept; what cannot be read is left out */
export function recentFrom(text: string | null): string[] {
  const list = readKept(text);
  if (!Array.isArray(list)) return [];
  return list.filter((one) => typeof one === 'string' && /^#[0-9a-f]{6}$/.test(one)).slice(0, MOST);
}

/** The list with another colour in front. */
export function withRecent(list: readonly string[], hex: string): string[] {
  if (Object.values(PRESETS).includes(hex)) return [...list];
  return [hex, ...list.filter((one) => one !== hex)].slice(0, MOST);
}

/** Keeps a colour that was chosen, in this browser. */
export function keepRecent(hex: string): void {
  recent.value = withRecent(recent.peek(), hex);
  browserKept.setItem(KEY, JSON.stringify(recent.peek()));
}
