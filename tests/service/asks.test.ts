import { afterEach, expect, test } from 'vitest';
import type { PlannerPort } from '../../src/service/planner.ts';
import { OWLET } from './owlet.ts';
import { Rig, type RigOptions, refusal } from './rig.ts';

let rig: Rig;
afterEach(() => rig.service.close());
const open = async (options: RigOptions = {}) => {
  rig = await Rig.open(options);
};

/** A planner that never gets done. */
const endless: PlannerPort = {
  ask: () => new Promise(() => {}),
  gone: () => {},
  close: async () => {},
};

test('answers are those of the version in use', async () => {
  await open();
  const trace = () =>
    rig.question('loom.trace', { channel: 'beak' }) as Promise<{ wires: string[] }>;
  expect((await trace()).wires).toContain('W07');
  await rig.byHand('label: W07', 'label: W77');
  await rig.pass(1200);
  expect((await trace()).wires).toContain('W77');
  expect(await rig.question('loom.find', { text: 'W77' })).toMatchObject({
    wires: [{ channel: 'beak' }],
  });
  expect((await refusal(rig.question('loom.trace', { channel: 'baek' }))).message).toMatch(
    /did you mean beak/,
  );
});

test('a new gateway gets what earlier runs did, and no more', async () => {
  await open();
  rig.service.gatewayIsNew();
  const entry = { time: '2026-05-04T12:00:00.000Z', tick: 0, who: 'desk', what: 'cue' } as const;
  rig.service.note({ ...entry, seq: 1, text: 'cue wave runs' }, false);
  await rig.close();
  expect(rig.recent).toEqual([]);
  rig = await Rig.open({ folder: rig.folder });
  expect(rig.opened.journalSeq).toBe(1);
  rig.service.note({ ...entry, seq: 2, text: 'cue nod runs' }, false);
  await rig.ask((n) => ({ t: 'flush', n }));
  rig.service.gatewayIsNew();
  while (rig.recent.length === 0) await rig.turn();
  expect(rig.recent.map(({ text }) => text)).toEqual(['cue wave runs']);
});

test('budget and check are answered; a faulty text has findings with codes', async () => {
  await open();
  expect(await rig.question('budget.read')).toMatchObject({ rails: [{ name: 'servo6v' }] });
  expect(await rig.question('prop.check', { text: OWLET })).toMatchObject({
    findings: expect.anything(),
  });
  const faulty = OWLET.replace('speedDegS', 'speedDegs');
  const { findings } = (await rig.question('prop.check', { text: faulty })) as {
    findings: { level: string }[];
  };
  expect(findings.find(({ level }) => level === 'error')).toMatchObject({
    code: 'schema.unknown-key',
    path: 'channels.beak.speedDegs',
    line: 16,
    message: expect.stringMatching(/unknown key; did you mean speedDegS/),
  });
  const large = (await rig.question('prop.check', { text: '#'.repeat(1024 * 1024 + 1) })) as {
    findings: object[];
  };
  expect(large.findings).toMatchObject([{ code: 'file.too-large' }]);
});

test('a session may have sixteen questions waiting, and no say over others', async () => {
  await open({ planner: endless });
  const asked = Array.from({ length: 17 }, () => rig.question('budget.read', {}, 'greedy'));
  const { error } = await refusal(Promise.race(asked));
  expect(error.code).toBe(-32009);
  expect(await rig.question('loom.find', { text: 'W07' }, 'other')).toMatchObject({
    wires: [{ channel: 'beak' }],
  });
});

test('what is measured of wires is in the answer as long as it is measured', async () => {
  await open();
  const found = {
    ...{ rail: 'servo6v', far: 'block', wires: ['W07'], measuredMv: 812, computedMv: 212 },
    ...{ amps: 3, excessOhm: 0.2, text: '' },
  };
  const first = async (id: number, weak?: object[]) => {
    const params = { channel: 'beak', symptom: 'weak' };
    const ask = { t: 'ask', id, session: 'a', method: 'loom.trace', params } as const;
    rig.service.ask({ ...ask, ...(weak && { weak: weak as [] }) });
    while (!rig.answers.has(id)) await new Promise(setImmediate);
    return JSON.parse((rig.answers.get(id) as { text: string }).text).steps[0].check as string;
  };
  expect(await first(900)).not.toContain('Measured while it ran');
  expect(await first(901, [found])).toContain('so W07 has 200 mohm more');
  expect(await first(902)).not.toContain('Measured while it ran');
});

test('a session that is gone gets no answer, and its questions are dropped', async () => {
  await open();
  for (let id = 900; id < 910; id++)
    rig.service.ask({ t: 'ask', id, session: 'a', method: 'loom.find', params: { text: 'W07' } });
  rig.service.ask({ t: 'gone', session: 'a' });
  await rig.question('loom.find', { text: 'W07' }, 'b');
  expect([...rig.answers.keys()].filter((id) => id >= 900)).toEqual([]);
});

test('a disk that hangs holds up no question but what needs it', async () => {
  const fs = await import('node:fs/promises');
  let hang = false;
  await open({
    fileSystem: {
      ...fs,
      link: (from, to) => (hang ? new Promise(() => {}) : fs.link(from, to)),
    },
  });
  hang = true;
  void rig.capture(['channels', 'beak', 'marks', 'open'], 28).catch(() => undefined);
  await rig.turn();
  expect(await rig.question('loom.find', { text: 'W07' })).toMatchObject({
    wires: [{ channel: 'beak' }],
  });
  expect(await rig.question('prop.read')).toMatchObject({ text: OWLET });
  expect(await rig.question('prop.history')).toMatchObject({ versions: [{ current: true }] });
  await rig.ask((n) => ({
    t: 'state',
    n,
    state: { settled: true, positions: {}, duty: {} },
    durable: true,
  }));
  rig.service.close();
});
