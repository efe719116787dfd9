import { mkdir, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { JournalEntry } from '../../src/api/types.ts';
import { incidentFolder, textOfIncident } from '../../src/record/incident.ts';
import { fileName, textOfLine } from '../../src/record/lines.ts';
import { journalFolder } from '../../src/record/read.ts';
import { FakeDaemon, run } from './fake-daemon.ts';
import { folderAlone } from './setting.ts';

/** No daemon is asked. */
const nobody = { host: '127.0.0.1:1' } as never;
const at = folderAlone();

const ENTRY: JournalEntry = {
  ...{ seq: 7, time: '2026-05-04T12:00:00.000Z', tick: 40, who: 'Ann', what: 'stop' },
  ...{ text: 'stop "now", at once', values: { category: 0 } },
};

async function kept(): Promise<string> {
  const folder = at('state');
  await mkdir(journalFolder(folder), { recursive: true });
  await mkdir(incidentFolder(folder), { recursive: true });
  await writeFile(
    join(journalFolder(folder), fileName(1)),
    textOfLine({ format: 1 }) + textOfLine({ entry: ENTRY }),
  );
  const { seq, time, who, what, text } = ENTRY;
  const body = {
    ...{ t: [-0.1, 0], condition: ['live', 'stopped'], linkMs: [null, 20] },
    channels: { beak: { value: [1.5, 2], target: 30 } },
    ...{ rails: {}, senses: {} },
  };
  await writeFile(
    join(incidentFolder(folder), fileName(seq)),
    textOfIncident({ seq, time, who, what, text, line: text, entries: [ENTRY], body }),
  );
  return folder;
}

test('what is exported as csv ends every line with CR LF, the last as well (RFC 4180, section 2)', async () => {
  const folder = await kept();
  const journal = await run(['journal', '--folder', folder, '--export', 'csv'], nobody);
  expect(journal).toMatchObject({ code: 0, err: '' });
  expect(journal.out).toBe(
    'number,time,who,what,text,count,tick,values\r\n' +
      '7,2026-05-04T12:00:00.000Z,Ann,stop,"stop ""now"", at once",,40,"{""category"":0}"\r\n',
  );
  const why = await run(['why', '--folder', folder, '--export', 'csv'], nobody);
  expect(why.out).toBe(
    't (s),condition,link (ms),beak value,beak target\r\n-0.1,live,,1.5,30\r\n0,stopped,20,2,30\r\n',
  );
});

test('as json it is what the daemon would answer', async () => {
  const folder = await kept();
  const journal = await run(['journal', '--folder', folder, '--export', 'json'], nobody);
  expect(JSON.parse(journal.out)).toEqual({ entries: [ENTRY] });
  const why = await run(['why', '--folder', folder, '--export', 'json'], nobody);
  expect(JSON.parse(why.out)).toMatchObject({ seq: 7, body: { linkMs: [null, 20] } });
});

test.each(['journal', 'why'])('%s of a folder that is not there is wrong usage', async (verb) => {
  const { code, err } = await run([verb, '--folder', at('nowhere')], nobody);
  expect(code).toBe(2);
  expect(err).toContain('ENOENT');
  expect(err).toContain('give the folder that sinewd has as --state-dir');
});

describe('of a daemon', () => {
  /** Runs one command line against a daemon that answers like this. */
  async function ask(argv: string[], handlers: FakeDaemon['handlers']) {
    const daemon = await FakeDaemon.start();
    Object.assign(daemon.handlers, handlers);
    try {
      return { ...(await run(argv, daemon)), calls: daemon.calls.slice(1) };
    } finally {
      await daemon.stop();
    }
  }

  test('an export has everything, page by page, oldest first', async () => {
    const all = Array.from({ length: 1500 }, (_, i) => ({ ...ENTRY, seq: i + 1 }));
    const { code, out, calls } = await ask(['journal', '--export', 'json'], {
      'journal.read': ({ before, limit }) => ({
        entries: all.filter(({ seq }) => seq < Number(before)).slice(-Number(limit)),
      }),
    });
    expect(code).toBe(0);
    const { entries } = JSON.parse(out) as { entries: JournalEntry[] };
    expect(entries.map(({ seq }) => seq)).toEqual(all.map(({ seq }) => seq));
    expect(calls).toHaveLength(2);
  });

  const heads = [ENTRY, { ...ENTRY, seq: 9, time: '2026-05-04T13:00:00.000Z' }].map(
    ({ seq, time, who, what, text }) => ({ seq, time, who, what, text, line: `line ${seq}` }),
  );
  const incidents: FakeDaemon['handlers'] = {
    'incident.list': () => ({ incidents: heads }),
    'incident.read': ({ seq }) => ({
      ...heads.find((one) => one.seq === seq)!,
      entries: [{ ...ENTRY, time: '2026-05-04T11:59:58.500Z', what: 'cue', text: 'cue wake' }],
      body: { t: [0], condition: ['stopped'], linkMs: [5], channels: {}, rails: {}, senses: {} },
    }),
  };

  test('why: the last stop, or the one nearest to a time, in one line and what came before', async () => {
    const last = await ask(['why'], incidents);
    expect(last).toMatchObject({ code: 0, err: '' });
    expect(last.out).toContain('2026-05-04T13:00:00.000Z  line 9\n');
    expect(last.calls.at(-1)).toEqual(['incident.read', { seq: 9 }]);
    const earlier = await ask(['why', '--at', '2026-05-01'], incidents);
    expect(earlier.out).toContain('line 7\n');
    expect(earlier.out).toContain('-1.5 s  Ann  cue  cue wake');
    const listed = await ask(['why', '--list'], incidents);
    expect(listed.out.trimEnd().split('\n')).toEqual(
      heads.map(({ time, line }) => `${time}  ${line}`),
    );
  });

  test('why: where no stop is kept it says so, and ends with 1', async () => {
    const none = await ask(['why'], { 'incident.list': () => ({ incidents: [] }) });
    expect(none).toMatchObject({ code: 1, out: 'no stop, fault or lost link is kept\n' });
  });
});
