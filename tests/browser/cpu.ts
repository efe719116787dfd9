import { readFileSync } from 'node:fs';
import { setTimeout as sleep } from 'node:timers/promises';
import type { Browser } from 'playwright-core';

/** Ticks of processor time in a second: USER_HZ, the same on every Linux of today (proc(5)). */
const TICKS_PER_S = 100;

/** Processes of a browser: id, and the processor time that each had at some moment (s). */
type Times = Map<number, number>;

/**
 * Processor time of every process of the browser (s), from the kernel: utime and stime, fields 14 and 15 of
 * /proc/[pid]/stat (proc(5)). The browser only says which processes are its own.
 */
async function times(browser: Browser): Promise<Times> {
  const cdp = await browser.newBrowserCDPSession();
  const { processInfo } = await cdp.send('SystemInfo.getProcessInfo');
  await cdp.detach();
  const found: Times = new Map();
  for (const { id } of processInfo) {
    // The name of the program stands in brackets and may have spaces.
    const text = readFileSync(`/proc/${id}/stat`, 'utf8');
    const fields = text.slice(text.lastIndexOf(')') + 2).split(' ');
    found.set(id, (Number(fields[11]) + Number(fields[12])) / TICKS_PER_S);
  }
  return found;
}

/** Share of one core that all processes of the browser take together over so many seconds. */
export async function coresOf(browser: Browser, forS: number): Promise<number> {
  const startMs = performance.now();
  const before = await times(browser);
  await sleep(forS * 1000);
  const after = await times(browser);
  const tookS = (performance.now() - startMs) / 1000;
  let spentS = 0;
  for (const [id, nowS] of after) spentS += nowS - (before.get(id) ?? 0);
  return spentS / tookS;
}
