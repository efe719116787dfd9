import mqtt, { type MqttClient } from 'mqtt';
import { afterEach, beforeEach, expect, it } from 'vitest';
import type { ShowPageCommand, ShowPageState } from '../../src/api/show-page.ts';
import { topics, write } from '../../src/show/wire.ts';
import { PropStage } from '../../src/showpage/prop-stage.ts';
import { Mosquitto, PASSWORDS } from '../mosquitto.ts';
import { Actor, Troupe } from './troupe.ts';

// The show's page by a prop's own account, at a real broker with the rights of the README.

let broker: Mosquitto;
let stage: PropStage | undefined;
let client: MqttClient | undefined;
beforeEach(async () => {
  broker = await Mosquitto.make();
});
afterEach(async () => {
  await stage?.close();
  stage = undefined;
  client?.end(true);
  client = undefined;
  await broker.cleanUp();
});

/** The page of the owl opens, with the rights of a prop, or with those of a page as well. */
async function open(rights: 'prop' | 'page'): Promise<PropStage> {
  if (rights === 'page') await broker.allowPage('owl');
  await broker.start();
  for (const [name, groups] of [
    ['left', ['birds']],
    ['right', []],
  ] as const) {
    const { status } = new Actor(name, new Troupe());
    const text = write({ ...status, groups: [...groups] });
    await broker.publish(topics.status('foyer', name), text, '-r');
  }
  stage = new PropStage({
    ...{ name: 'foyer', prop: 'owl', groups: [] },
    ...{ whenBrokerLost: 'finish', maxUncertaintyMs: 10, parkAfterS: 30 },
    broker: {
      url: `mqtts://127.0.0.1:${broker.tlsPort}`,
      username: 'owl',
      passwordFile: broker.passwordFile,
      caFile: broker.caFile,
    },
  });
  return stage;
}

/** What the page shows, once that holds. */
async function shown(holds: (state: ShowPageState) => boolean): Promise<ShowPageState> {
  let state = {} as ShowPageState;
  await expect
    .poll(
      async () => {
        state = JSON.parse(await stage!.read());
        return holds(state) || JSON.stringify(state);
      },
      { timeout: 20_000, interval: 100 },
    )
    .toBe(true);
  return state;
}

/** Listens at a topic. @returns what is heard there first: one that listens already hears it */
async function listen(topic: string): Promise<{ first: Promise<string> }> {
  client = await mqtt.connectAsync(`mqtt://127.0.0.1:${broker.port}`, {
    ...{ protocolVersion: 5, username: 'conductor', password: PASSWORDS.conductor },
  });
  const first = new Promise<string>((resolve) =>
    client!.on('message', (_topic, payload) => resolve(String(payload))),
  );
  await client.subscribeAsync(topic, { qos: 1 });
  return { first };
}

it('with the rights of a prop alone it says that it can neither see nor stop the others', async () => {
  await open('prop');
  const { rights, props } = await shown((state) => state.rights !== null);
  expect(rights).toContain('does not let owl write to sinew/foyer/prop/0/command');
  expect(rights).toContain('Stop, Park and Go may do nothing here: use the switches');
  expect(props).toEqual([]);
  const stop: ShowPageCommand = { act: 'stop', target: 'all', category: 1 };
  const { ok, lines } = await stage!.carryOut(stop);
  expect(ok).toBe(false);
  expect(lines.join()).toContain('no prop is known here');
});

it('with the rights of a page it shows the props and their groups, and its stop is sent', async () => {
  await open('page');
  const state = await shown(({ props }) => props.length === 2);
  expect(state).toMatchObject({ show: 'foyer', broker: null, groups: ['birds'] });
  const command = await listen(topics.command('foyer', 'left'));
  // The same is sent again until it is answered.
  const answer = stage!.carryOut({ act: 'stop', target: 'birds', category: 1 });
  expect(JSON.parse(await command.first)).toMatchObject({ act: 'stop', from: 'page of owl' });
  expect((await answer).lines).toEqual(['left: does not answer; look at it there']);
  // It could do so all the time.
  expect(await shown(() => true)).toMatchObject({ rights: null });
});

it('a page that may only look says so before anybody presses Stop', async () => {
  await broker.allow('user owl\ntopic read sinew/foyer/prop/+/status\n');
  await open('prop');
  const { rights } = await shown((state) => state.props.length === 2 && state.rights !== null);
  expect(rights).toContain('does not let owl write');
  const { lines } = await stage!.carryOut({ act: 'stop', target: 'left', category: 1 });
  expect(lines).toEqual([expect.stringContaining('left: not sent: the broker does not let')]);
});

it('a broker that is gone is told, and found again', async () => {
  await open('page');
  await shown(({ props }) => props.length === 2);
  await broker.kill();
  const { broker: problem } = await shown((state) => state.broker !== null);
  expect(problem).toContain('the broker');
  const stop = stage!.carryOut({ act: 'stop', target: 'left', category: 1 });
  expect((await stop).lines).toEqual(['left: not sent: the broker is away']);
  await broker.start();
  await shown((state) => state.broker === null);
});

it('props need not measure its clock until a page starts cues', async () => {
  await open('page');
  await shown(({ props }) => props.length === 2);
  const here = await listen(topics.here('foyer'));
  const ask = { v: 1, prop: 'left', ask: 'ask-left-0001', t1: 0 } as const;
  const times: string[] = [];
  await client!.subscribeAsync(topics.time('foyer', 'left'));
  client!.on('message', (topic, payload) => {
    if (topic === topics.time('foyer', 'left')) times.push(String(payload));
  });
  await broker.publish(topics.ask('foyer'), write(ask));
  // By the time that a later status is heard, the question has been heard too.
  await broker.publish(
    topics.status('foyer', 'third'),
    write(new Actor('third', new Troupe()).status),
  );
  await shown(({ props }) => props.length === 3);
  stage!.control(true);
  expect(JSON.parse(await here.first)).toMatchObject({ from: 'page of owl' });
  await broker.publish(topics.ask('foyer'), write({ ...ask, ask: 'ask-left-0002' }));
  await expect.poll(() => times.length, { timeout: 20_000 }).toBe(1);
  expect(JSON.parse(times[0]!)).toMatchObject({ ask: 'ask-left-0002' });
});
