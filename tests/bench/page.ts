import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fastify from 'fastify';
import type { Browser, Page } from 'playwright-core';
import { bigProp, SERVOS } from '../browser/big-prop.ts';
import { launch } from '../browser/chromium.ts';
import { coresOf } from '../browser/cpu.ts';
import { Daemon, Peer } from '../system/daemon.ts';
import type { Row } from './table.ts';

const LOADS = 9;
const WATCH_S = 5;
/** 90 deg take 30 s: nothing arrives while it is measured. */
const SPEED_DEG_S = 3;
const FEELERS = ['feeler_1', 'feeler_2', 'feeler_3', 'feeler_4'];

/** The rows of the bench page, all in one run of one browser. */
export async function pageRows(): Promise<Row[]> {
  const browser = await launch();
  try {
    return [...(await loadRows(browser)), ...(await busyRows(browser))];
  } finally {
    await browser.close();
  }
}

/** First paint and size, against an empty page from the same kind of server. */
async function loadRows(browser: Browser): Promise<Row[]> {
  const daemon = await Daemon.start();
  const empty = fastify();
  empty.get('/', async (_request, reply) =>
    reply.type('text/html').send('<!doctype html><title>empty</title><p>empty</p>'),
  );
  const emptyUrl = await empty.listen({ host: '127.0.0.1', port: 0 });
  const paints: number[] = [];
  const emptyPaints: number[] = [];
  let size = { sent: 0, plain: 0 };
  for (let load = 0; load < LOADS; load++) {
    emptyPaints.push((await firstPaint(browser, emptyUrl)).paintMs);
    const loaded = await firstPaint(browser, daemon.url);
    paints.push(loaded.paintMs);
    size = loaded;
  }
  await empty.close();
  await daemon.cleanUp();
  return [
    {
      measure: 'first paint of the page from loopback (ms)',
      values: paints,
      baselines: emptyPaints,
      baselineName: 'an empty page',
      target: { value: 300 },
    },
    {
      measure: 'transfer of the page (kB)',
      values: [size.sent / 1000],
      baselines: [size.plain / 1000],
      slower: 'same',
      baselineName: 'uncompressed',
      target: { value: 150 },
    },
  ];
}

/** One load in a fresh profile: time to first contentful paint (ms), bytes on the wire and unpacked. */
async function firstPaint(browser: Browser, url: string) {
  const context = await browser.newContext();
  const page = await context.newPage();
  const cdp = await context.newCDPSession(page);
  let sent = 0;
  await cdp.send('Network.enable');
  // Headers are in the count.
  cdp.on('Network.loadingFinished', ({ encodedDataLength }) => {
    sent += encodedDataLength;
  });
  let plain = 0;
  cdp.on('Network.dataReceived', ({ dataLength }) => {
    plain += dataLength;
  });
  await page.goto(url, { waitUntil: 'networkidle' });
  const paintMs = await page.evaluate(
    () =>
      new Promise<number>((resolve) => {
        new PerformanceObserver((list) => {
          const entry = list.getEntriesByName('first-contentful-paint')[0];
          if (entry) resolve(entry.startTime);
        }).observe({ type: 'paint', buffered: true });
      }),
  );
  await context.close();
  return { paintMs, sent, plain };
}

/** What the Overview of a large prop costs while all its servos move, against the same page at rest. */
async function busyRows(browser: Browser): Promise<Row[]> {
  const folder = await mkdtemp(join(tmpdir(), 'sinew-bench-'));
  const file = join(folder, 'prop.yaml');
  await writeFile(file, bigProp(SPEED_DEG_S));
  const daemon = await Daemon.start({ prop: file });
  const holder = await Peer.holder(daemon);
  const page = await browser.newPage({ viewport: { width: 1440, height: 900 } });
  await page.goto(daemon.url);
  await page.locator('.brief').first().waitFor();
  const rest = await load(browser, page);
  for (const group of ['head', 'legs', 'tail']) await holder.ask('group.move', { group, to: 'up' });
  for (const channel of FEELERS) await holder.ask('channel.move', { channel, to: 'up' });
  await page.getByRole('button', { name: `${SERVOS} move: list` }).waitFor();
  const inView = page.locator('.cell.is-moving .cell-value');
  const before = await inView.allTextContents();
  const moving = await load(browser, page);
  // All of them moved all the time, and what is in view was seen to.
  await page.getByRole('button', { name: `${SERVOS} move: list` }).waitFor({ timeout: 1000 });
  const after = await inView.allTextContents();
  if (before.length === 0 || after.some((text, i) => text === before[i]))
    throw new Error(`not all ${before.length} values in view changed on screen`);
  await page.close();
  await daemon.cleanUp();
  await rm(folder, { recursive: true });
  return [
    {
      measure: `${SERVOS} channels moving at 20 Hz, main thread of the page (cores)`,
      values: [moving.page],
      baselines: [rest.page],
      slower: 'same',
      baselineName: 'the same at rest',
      target: { value: 0.25 },
    },
    {
      measure: `${SERVOS} channels moving at 20 Hz, the whole browser (cores)`,
      values: [moving.browser],
      baselines: [rest.browser],
      slower: 'same',
      baselineName: 'the same at rest',
      target: { value: 0.25 },
    },
  ];
}

interface Load {
  /** Share of one core that the page's main thread was busy for. */
  page: number;
  /** Share of one core that all processes of the browser took together. */
  browser: number;
}

async function load(browser: Browser, page: Page): Promise<Load> {
  const ofPage = await page.context().newCDPSession(page);
  await ofPage.send('Performance.enable');
  const read = async () => {
    const { metrics } = await ofPage.send('Performance.getMetrics');
    const of = (name: string) => metrics.find((metric) => metric.name === name)!.value;
    return { atS: of('Timestamp'), pageS: of('TaskDuration') };
  };
  const from = await read();
  const cores = await coresOf(browser, WATCH_S);
  const to = await read();
  await ofPage.detach();
  return { page: (to.pageS - from.pageS) / (to.atS - from.atS), browser: cores };
}
