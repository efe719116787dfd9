import { spawn } from 'node:child_process';
import { readFile } from 'node:fs/promises';
import { fileURLToPath } from 'node:url';
import { WebSocket } from 'ws';
import { launch } from '../browser/chromium.ts';
import { Daemon, Peer } from '../system/daemon.ts';
import type { Row } from './table.ts';

const BARE = fileURLToPath(new URL('bare.mjs', import.meta.url));
/** By then the engine has swept up, by itself, what the start has left behind (ms). */
const SETTLE_MS = 40_000;
const RUNS = 2;

const settle = () => new Promise((resolve) => setTimeout(resolve, SETTLE_MS));

/** Resident memory of a process (MB, 10^6 bytes), as the kernel accounts for it. */
async function residentMb(pid: number): Promise<number> {
  const status = await readFile(`/proc/${pid}/status`, 'utf8');
  return (Number(/^VmRSS:\s+(\d+) kB$/m.exec(status)![1]) * 1024) / 1e6;
}

async function bareMb(): Promise<number> {
  const child = spawn(process.execPath, [BARE], { stdio: ['ignore', 'pipe', 'ignore'] });
  const url = await new Promise<string>((resolve) =>
    child.stdout.once('data', (data) => resolve(String(data).trim())),
  );
  const socket = new WebSocket(url.replace('http', 'ws'));
  await new Promise((resolve) => socket.once('open', resolve));
  await (await fetch(url)).text();
  await settle();
  const mb = await residentMb(child.pid!);
  socket.terminate();
  child.kill();
  return mb;
}

/** Resident memory of the live daemon with the page open, against its libraries alone. */
export async function memoryRow(): Promise<Row> {
  const browser = await launch();
  const bare: number[] = [];
  const live: number[] = [];
  for (let run = 0; run < RUNS; run++) {
    bare.push(await bareMb());
    const daemon = await Daemon.start();
    const holder = await Peer.holder(daemon);
    const page = await browser.newPage();
    await page.goto(daemon.url);
    await page.locator('main h2').first().waitFor();
    await settle();
    live.push(await residentMb(daemon.child.pid!));
    await page.close();
    await holder.close();
    await daemon.cleanUp();
  }
  await browser.close();
  return {
    measure: 'resident memory, live with the page open (MB)',
    values: live,
    baselines: bare,
    baselineName: 'bare fastify, ws and pino',
    target: { ratio: 1.5 },
    slower: 'same',
  };
}
