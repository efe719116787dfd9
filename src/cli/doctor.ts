import { existsSync } from 'node:fs';
import type { Finding } from '../boards/doctor.ts';
import { Refusal } from '../shared/errors.ts';
import { verb } from './verb.ts';

/** Where install.sh puts the prop. */
const INSTALLED_PROP = '/var/lib/sinew/prop.yaml';

export const doctorVerb = verb<{ file?: string }>({
  name: 'doctor',
  summary: 'say what this board lacks to run a prop, and what to do about it',
  where: 'both',
  args: [
    {
      name: 'file',
      doc: `a prop file (default: ${INSTALLED_PROP}, if it is there)`,
      optional: true,
    },
  ],
  async run({ file = existsSync(INSTALLED_PROP) ? INSTALLED_PROP : undefined }) {
    const { examine } = await import('../doctor/examine.ts');
    const { thisMachine } = await import('../doctor/world.ts');
    const prop = file === undefined ? undefined : await load(file);
    const findings = await examine(thisMachine(), prop);
    const lines = findings.map(line);
    if (!prop) lines.push('give a prop file to have its boards looked at as well');
    const wrong = findings.filter(({ state }) => state === 'wrong').length;
    lines.push(wrong === 0 ? 'nothing is missing' : `${wrong} to fix`);
    return { result: { findings }, text: lines.join('\n'), exit: wrong === 0 ? 0 : 1 };
  },
});

async function load(file: string) {
  const { loadProp } = await import('../prop/load.ts');
  const { prop } = await loadProp(file);
  if (prop) return prop;
  throw new Refusal('file.check-first', `${file} has errors; sinew check ${file} shows them`);
}

function line({ what, state, text, remedy }: Finding): string {
  const mark = { fine: 'fine   ', wrong: 'WRONG  ', unknown: 'unknown' }[state];
  return `${mark}  ${what}: ${text}${remedy ? `\n         to fix it: ${remedy}` : ''}`;
}
