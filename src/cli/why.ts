import type { Incident, IncidentHead } from '../api/types.ts';
import { incidentFolder, nearest, readIncident, readIncidents } from '../record/incident.ts';
import type { Cell } from '../shared/csv.ts';
import { exported, exportOption, FOLDER, type Form, mustBeThere } from './kept.ts';
import { type Operator, verb } from './verb.ts';
import { whenText } from './when.ts';

interface Inputs {
  at?: string;
  list?: true;
  export?: Form;
  folder?: string;
}

/** Where incidents come from: a daemon, or a state folder. */
interface Source {
  list(): Promise<IncidentHead[]>;
  read(seq: number): Promise<Incident>;
}

/** `sinew why`: what made the prop stop. */
export const whyVerb = verb<Inputs>({
  name: 'why',
  summary: 'why it stopped: the cause, who, and what stood where',
  where: 'both',
  args: [],
  options: [
    {
      flags: '--at <WHEN>',
      doc: 'the stop nearest to this time, such as 14:32 (the last one without it)',
      parse: (text) => whenText(text),
    },
    { flags: '--list', doc: 'all that are kept, in a line each' },
    exportOption('the ten seconds before it'),
    FOLDER,
  ],
  async run({ at, list, export: form, folder }, operator) {
    const source = folder === undefined ? ofDaemon(operator) : await ofFolder(folder);
    const heads = await source.list();
    if (list) return { result: { incidents: heads }, text: heads.map(lineOf).join('\n') };
    const found = nearest(heads, at);
    if (!found)
      return { result: { incident: null }, text: 'no stop, fault or lost link is kept', exit: 1 };
    const incident = await source.read(found.seq);
    if (form === undefined) return { result: incident, text: textOf(incident) };
    return exported(form, incident, () => rowsOf(incident), operator);
  },
});

function ofDaemon(operator: Operator): Source {
  return {
    list: async () => (await operator.call('incident.list', {})).incidents,
    read: (seq) => operator.call('incident.read', { seq }),
  };
}

/** @throws UsageError where there is no such folder */
async function ofFolder(stateDir: string): Promise<Source> {
  await mustBeThere(stateDir, `folder ${stateDir}`);
  const folder = incidentFolder(stateDir);
  return {
    list: () => readIncidents(folder),
    read: async (seq) => (await readIncident(folder, seq))!,
  };
}

function lineOf({ time, line }: IncidentHead): string {
  return `${time}  ${line}`;
}

function textOf(incident: Incident): string {
  const zeroMs = Date.parse(incident.time);
  const entries = incident.entries.map(({ time, who, what, text }) => {
    const s = (Date.parse(time) - zeroMs) / 1000;
    return `  ${s > 0 ? '+' : ''}${s.toFixed(1)} s  ${who}  ${what}  ${text}`;
  });
  return [lineOf(incident), 'the journal before and after it:', ...entries].join('\n');
}

/** A line for each time, a column for each value; a value that nobody measured is left empty. */
function rowsOf({ body }: Incident): Cell[][] {
  type Column = (at: number) => Cell;
  const columns: [name: string, column: Column][] = [
    ['t (s)', (at) => body.t[at]],
    ['condition', (at) => body.condition[at]],
    ['link (ms)', (at) => body.linkMs[at] ?? undefined],
  ];
  const of = (series: Incident['body']['rails'][string]['amps']): Column => {
    return (at) => (Array.isArray(series) ? series[at] : series) ?? undefined;
  };
  const owners = [...Object.entries(body.channels), ...Object.entries(body.rails)];
  for (const [name, values] of owners)
    for (const [key, series] of Object.entries(values))
      columns.push([`${name} ${key}`, of(series)]);
  for (const [name, { unit, value }] of Object.entries(body.senses))
    columns.push([unit ? `${name} (${unit})` : name, of(value)]);
  const rows = body.t.map((_t, at) => columns.map(([, column]) => column(at)));
  return [columns.map(([name]) => name), ...rows];
}
