import { expect, test } from 'vitest';
import { makeProp, Rig, servo } from './rig.ts';

test('boards are looked for only once everything stands still, after a stop too', async () => {
  const rig = await Rig.open(makeProp({ neck: servo({ marks: { up: 40 } }) }));
  const desk = rig.client('desk');
  await rig.wake(desk);
  await desk.call('channel.move', { channel: 'neck', to: 'up', wait: false });
  await rig.run(200);
  expect((await desk.refused('board.scan', {})).word).toBe('scan.not-at-rest');
  await desk.call('stop', { category: 2 });
  await rig.tick();
  expect(rig.condition).toBe('stopped');
  // It still decelerates, and its pulses need the bus.
  expect(rig.core.body.servos[0]!.moving).toBe(true);
  expect((await desk.refused('board.scan', {})).word).toBe('scan.not-at-rest');
  await rig.run(1000);
  await expect(desk.call('board.scan', {})).resolves.toEqual({ buses: [], chips: [] });
});
