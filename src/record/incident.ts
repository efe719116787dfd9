import fs from 'node:fs/promises';
import { join } from 'node:path';
import type { Incident, IncidentHead, JournalEntry } from '../api/types.ts';
import { tidy } from '../shared/units.ts';
import { fileName } from './lines.ts';
import { numbersIn, type ReadingFs } from './read.ts';

/**
 * What was measured and commanded before a stop, a fault or a lost link: a file for each in
 * `DIR/incidents`, named as those of the journal by the number of the entry that it began with, in two lines of
 * JSON, the head and the rest.
 */

/** The format of these files; of a file of a higher one nothing is shown. */
const FORMAT = 1;

export const incidentFolder = (stateDir: string): string => join(stateDir, 'incidents');

export function textOfIncident({ body, ...head }: Incident): string {
  return `${JSON.stringify({ format: FORMAT, ...head })}\n${JSON.stringify(body)}\n`;
}

/** The heads of all that are kept, oldest first; what is damaged or newer is left out. @throws Error */
export async function readIncidents(
  folder: string,
  fileSystem: ReadingFs = fs,
): Promise<IncidentHead[]> {
  const heads: IncidentHead[] = [];
  for (const number of await numbersIn(folder, fileSystem)) {
    const incident = await readIncident(folder, number, fileSystem);
    if (!incident) continue;
    const { body: _, ...head } = incident;
    heads.push(head);
  }
  return heads;
}

/** One of them; undefined where it is not there, damaged, or newer. */
export async function readIncident(
  folder: string,
  seq: number,
  fileSystem: ReadingFs = fs,
): Promise<Incident | undefined> {
  try {
    const text = await fileSystem.readFile(join(folder, fileName(seq)), 'utf8');
    const [first = '', second = ''] = text.split('\n');
    const { format, ...head } = JSON.parse(first) as IncidentHead & { format: number };
    if (format > FORMAT) return undefined;
    return { ...head, body: JSON.parse(second) };
  } catch {
    return undefined;
  }
}

/** The kept incident nearest to a time (ISO 8601); the newest without one. */
export function nearest(heads: readonly IncidentHead[], time?: string): IncidentHead | undefined {
  if (time === undefined) return heads.at(-1);
  const atMs = Date.parse(time);
  const away = (head: IncidentHead) => Math.abs(Date.parse(head.time) - atMs);
  return heads.reduce<IncidentHead | undefined>(
    (best, head) => (best && away(best) <= away(head) ? best : head),
    undefined,
  );
}

/** A channel when it happened. */
export interface Stood {
  name: string;
  value: number | boolean | string | null;
  /** Where a servo was on its way to (deg); undefined where it was at rest. */
  to?: number;
}

/** How many channels a line names. */
const NAMED = 6;

/** In one line: the cause, who, what came before it, and what stood where. */
export function whyLine(
  entry: JournalEntry,
  condition: string,
  before: JournalEntry | undefined,
  stood: readonly Stood[],
): string {
  const { who, text } = entry;
  const by = who === 'prop' ? 'the prop itself' : who;
  const told = stood.flatMap((one) => {
    const words = stoodText(one);
    return words === undefined ? [] : [words];
  });
  const more = told.length > NAMED ? ` and ${told.length - NAMED} more` : '';
  const where =
    told.length === 0 ? 'nothing moved or was on' : `${told.slice(0, NAMED).join(', ')}${more}`;
  const seconds = before && (Date.parse(entry.time) - Date.parse(before.time)) / 1000;
  const last =
    before && seconds !== undefined && seconds >= 0 && seconds < 600
      ? `; last before it: ${before.text} (${before.who}, ${tidy(seconds, 1)} s)`
      : '';
  return `${text}, by ${by}, while ${condition}: ${where}${last}`;
}

/** Undefined for what was at rest, off or dark. */
function stoodText({ name, value, to }: Stood): string | undefined {
  if (typeof value === 'number' && to !== undefined)
    return `${name} at ${tidy(value, 1)} deg on its way to ${tidy(to, 1)}`;
  if (value === true) return `${name} on`;
  if (value === null) return `${name} unknown`;
  return undefined;
}
