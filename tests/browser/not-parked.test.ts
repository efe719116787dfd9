import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { Daemon, Peer } from '../system/daemon.ts';
import { axeSource, breaches, overhang } from './axe.ts';
import { launch, Operator, PHONE } from './browser.ts';

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
  const operator = await Operator.open(browser, daemon, { viewport: PHONE, scripts: [axeSource] });
  await operator.page
    .getByRole('status')
    .filter({ hasText: 'at rest, not parked' })
    .first()
    .waitFor();
  await operator.page.getByText(WHY).waitFor();
  expect(await breaches(operator)).toEqual([]);
  expect(await overhang(operator)).toBeLessThanOrEqual(0);
  await operator.close();
});

it('it says so as well where every place is taken and no state comes', async () => {
  // Its own: on the other one the page of the test before may still have its place.
  const full = await Daemon.start({ known: false });
  const peers: Peer[] = [];
  try {
    for (let n = 0; n < 32; n++) {
      const peer = await Peer.connect(full);
      peers.push(peer);
      await peer.ask('session.open', { client: `peer ${n}` });
    }
    const operator = await Operator.open(browser, full, { viewport: PHONE });
    await operator.page.getByText(/Every place is taken/).waitFor();
    await operator.page.getByText(WHY).waitFor();
    await operator.close();
  } finally {
    for (const peer of peers) peer.socket.terminate();
    await full.cleanUp();
  }
});
