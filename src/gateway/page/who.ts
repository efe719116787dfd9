import { signal } from '@preact/signals';
import { browserKept } from './kept.ts';

/** Who this page is, as others see it: the name of the device and a number of the page's own. */

const KEY = 'sinew-device';
/** Names go into the daemon's log and to others' screens; a number follows. */
export const NAME_LETTERS = 40;

/**
 * Not kept: a page opened from this one would inherit what is kept for the tab, and take this one's
 * control for its own.
 */
const number = Math.floor(Math.random() * 9000 + 1000);

/** What this device is called; empty until somebody has said so. */
export const device = signal(browserKept.getItem(KEY) ?? '');
export const me = signal(nameOf(device.peek()));

function nameOf(name: string): string {
  return `${name || 'page'} ${number}`;
}

/** The device is called so from now on, in this browser. */
export function nameDevice(name: string): void {
  const short = name.trim().slice(0, NAME_LETTERS);
  device.value = short;
  me.value = nameOf(short);
  browserKept.setItem(KEY, short);
}
