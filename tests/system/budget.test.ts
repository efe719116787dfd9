import { afterEach, beforeEach, expect, it } from 'vitest';
import { Daemon, Peer } from './daemon.ts';

let daemon: Daemon;
beforeEach(async () => {
  daemon = await Daemon.start();
});
afterEach(() => daemon.cleanUp());

it('budgets are worked out beside the motion: the link lives and the move arrives', async () => {
  const peer = await Peer.holder(daemon);
  await peer.ask('state.follow', { hz: 50 });
  await peer.ask('channel.move', { channel: 'head_turn', to: 60, overS: 2 });
  const cues = ['wake', 'blink', 'glance', 'breath'];
  const answers = await Promise.all([
    peer.ask('budget.read'),
    ...cues.map((cue) => peer.ask('budget.cue', { cue })),
  ]);
  expect(answers[0]).toMatchObject({ rails: [{ name: 'servo6v' }, { name: 'logic5v' }] });
  // They come in their order, each to its own question.
  expect(answers.slice(1).map(({ cue }) => cue)).toEqual(cues);
  const refused = await peer.call('budget.cue', { cue: 'wkae' });
  expect(refused.error).toMatchObject({
    code: -32005,
    data: { reason: 'there is no cue wkae; did you mean wake?' },
  });
  // It may have arrived meanwhile. A link that was lost on the way would have parked the prop.
  await peer.until(() => peer.states.find(({ channels }) => channels.head_turn?.value === 60));
  expect(new Set(peer.states.map(({ condition }) => condition))).toEqual(new Set(['live']));
  await peer.close();
});

it('more questions than may wait are refused, and the others answered', async () => {
  const peer = await Peer.connect(daemon);
  await peer.ask('session.open', { client: 'many' });
  const answers = await Promise.all(
    Array.from({ length: 30 }, () => peer.call('budget.cue', { cue: 'glance' })),
  );
  const refused = answers.filter(({ error }) => error?.code === -32009);
  expect(refused).toHaveLength(30 - 16);
  for (const { result } of answers.filter(({ error }) => !error))
    expect(result).toMatchObject({ cue: 'glance' });
  await peer.close();
});
