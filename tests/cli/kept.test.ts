import { mkdir, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import type { JournalEntry } from '../../src/api/types.ts';
import { incidentFolder, textOfIncident } from '../../src/record/incident.ts';
import { fileName, textOfLine } from '../../src/record/lines.ts';
import { journalFolder } from '../../src/record/read.ts';
import { run } from './fake-daemon.ts';
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
