import { afterEach, expect, test } from 'vitest';
import { Rig, type RigOptions } from './rig.ts';

let rig: Rig;
afterEach(() => rig?.close());
const open = async (options: RigOptions = {}) => {
  rig = await Rig.open(options);
  return rig;
};

test('opens, captures, undoes, answers, keeps the state', async () => {
  await open();
  expect(rig.opened.prop.name).toBe('Foyer owl');
  const { version } = await rig.capture(['channels', 'beak', 'marks', 'open'], 28.5);
  expect(await rig.read()).toContain('open: 28.5 }');
  expect(rig.core.version).toBe(version);
  const { begin, channels } = rig.core.changes[0]!;
  expect(begin.changed).toEqual(['marks.open of beak: 30 becomes 28.5']);
  expect(begin.rest).toEqual({});
  expect([...channels.keys()]).toEqual(['beak']);
  const { undone } = await rig.undo();
  expect(undone).toBe('channels.beak.marks.open is 30 again, no longer 28.5');
  expect(await rig.question('loom.find', { text: 'W07' })).toMatchObject({
    wires: [{ channel: 'beak' }],
  });
  await rig.ask((n) => ({
    t: 'state',
    n,
    state: { settled: true, positions: { beak: 3 }, duty: {} },
    durable: true,
  }));
  await rig.close();
  const again = await Rig.open({ folder: rig.folder });
  expect(again.opened.restored).toMatchObject({ settled: true, positions: { beak: 3 } });
  await again.close();
});
