import { afterEach, expect, test } from 'vitest';
import type { Params, Result } from '../../../src/api/methods.ts';
import { versionOf } from '../../../src/prop/file/version.ts';
import { OWLET } from '../owlet.ts';
import { type Applied, ME, Rig, refusal } from '../rig.ts';

let rig: Rig;
afterEach(() => rig.remove());

type Change = Params<'prop.plan'>['change'];
const plan = (change: Change, version: string): Promise<Result<'prop.plan'>> =>
  rig.question('prop.plan', { change, version });
const apply = ({ edits, version }: Result<'prop.plan'>) =>
  rig.ask<Applied>((n) => ({ t: 'apply', n, edits: edits as never, version, by: ME }));

test('a planned rename is applied, named in words, and put back to the same bytes', async () => {
  rig = await Rig.open();
  const version = versionOf(OWLET);
  const planned = await plan({ do: 'rename', what: 'channel', name: 'beak', to: 'bill' }, version);
  expect(planned).toMatchObject({
    touches: ['group face', 'pose asleep', 'cue wake, step 2', 'park stage 2'],
    findings: [],
    waits: true,
  });
  // Nothing is written by a plan.
  expect(await rig.read()).toBe(OWLET);
  const applied = await apply(planned);
  expect(applied.changed.slice(0, 1)).toEqual(['channel beak is called bill now']);
  expect(applied.changed.join()).not.toMatch(/gone|added/);
  expect(await rig.read()).toBe(OWLET.replaceAll('beak', 'bill'));
  await rig.restore(version);
  expect(await rig.read()).toBe(OWLET);
});

test('marks and poses take effect at once', async () => {
  rig = await Rig.open();
  const planned = await plan(
    { do: 'rename', what: 'pose', name: 'asleep', to: 'sleep' },
    versionOf(OWLET),
  );
  expect(planned).toMatchObject({ touches: ['cue drowse, step 1'], waits: false });
  expect(await apply(planned)).toMatchObject({
    changed: ['pose asleep is called sleep now', 'cue drowse: changed'],
    pending: false,
  });
});

test('a plan for another version, and what cannot be, are refused', async () => {
  rig = await Rig.open();
  const change = { do: 'remove', what: 'channel', name: 'fan' } as const;
  const other = await refusal(plan(change, '0123456789abcdef'));
  expect(other.error.data).toMatchObject({ code: 'file.other-version', version: versionOf(OWLET) });
  const twice = await refusal(
    plan({ do: 'rename', what: 'group', name: 'face', to: 'fan' }, versionOf(OWLET)),
  );
  expect(twice.error.data).toMatchObject({ code: 'change.refused', places: [] });
  // The plan of a file that was changed since is not applied to it.
  const planned = await plan(change, versionOf(OWLET));
  await rig.byHand('Foyer owl', 'Night owl');
  expect((await refusal(apply(planned))).error.data.code).toBe('file.other-version');
  expect(await rig.read()).toBe(OWLET.replace('Foyer owl', 'Night owl'));
});
