import { signal } from '@preact/signals';

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
export const device = signal(kept());
export const me = signal(nameOf(device.peek()));

function kept(): string {
  try {
    return localStorage.getItem(KEY) ?? '';
  } catch {
    return '';
  }
}

function nameOf(name: string): string {
  return `${name || 'page'} ${number}`;
}

/** The device is called so from now on, in this browser. */
export function nameDevice(name: string): void {
  const short = name.trim().slice(0, NAME_LETTERS);
  device.value = short;
  me.value = nameOf(short);
  try {
    localStorage.setItem(KEY, short);
  } catch {
    // Where nothing may be kept, the name lasts as long as the page.
  }
}
