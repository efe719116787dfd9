import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { Daemon, Peer } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { Desk, launch, PHONE } from './browser.ts';

let browser: Browser;
let daemon: Daemon;
beforeAll(async () => {
  browser = await launch();
  daemon = await Daemon.start({ known: false });
});
afterAll(async () => {
  await browser?.close();
  await daemon?.cleanUp();
});

const WHY = /The prop is at rest, not parked: nobody knows where beak, .* stand/;

it('a prop that never ran is at rest, not parked, and the page says why', async () => {
  const desk = await Desk.open(browser, daemon, { viewport: PHONE, scripts: [axeSource] });
  await desk.page.getByRole('status').filter({ hasText: 'at rest, not parked' }).first().waitFor();
  await desk.page.getByText(WHY).waitFor();
  expect(await breaches(desk)).toEqual([]);
  expect(await overhang(desk)).toBeLessThanOrEqual(0);
  await desk.close();
});

it('it says so as well where every place is taken and no state comes', async () => {
  const peers: Peer[] = [];
  for (let n = 0; n < 32; n++) {
    const peer = await Peer.connect(daemon);
    await peer.ask('session.open', { client: `peer ${n}` });
    peers.push(peer);
  }
  const desk = await Desk.open(browser, daemon, { viewport: PHONE });
  await desk.page.getByText(/Every place is taken/).waitFor();
  await desk.page.getByText(WHY).waitFor();
  await desk.close();
  for (const peer of peers) peer.socket.terminate();
});
