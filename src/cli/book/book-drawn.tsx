import { basename } from 'node:path';
import { traceFault } from '../../prop/trace.ts';
import { rehearse } from '../../rehearsal/rehearse.ts';
import { Refusal } from '../../shared/errors.ts';
import { pictureBeside } from '../check-picture.ts';
import { timeline } from '../cue-drawn.tsx';
import { firstPower } from '../first-power.ts';
import { loomView } from '../loom-data.ts';
import { markup } from '../markup.ts';
import type { Whole } from '../prop-file.ts';
import { Acceptance, type AcceptanceView } from './acceptance.tsx';
import { Book, type BookView, faultsWanted, Sheet } from './book.tsx';

/** What a cue is computed for at most (s): a drawing of more would show nothing. */
const LONGEST_S = 120;

const document = (text: string) => `<!doctype html>\n${text}`;
const dataUri = (type: string, bytes: Uint8Array) =>
  `data:${type};base64,${Buffer.from(bytes).toString('base64')}`;
const TYPES = { png: 'image/png', jpeg: 'image/jpeg', svg: 'image/svg+xml' } as const;

/** The acceptance sheet alone. */
export function acceptanceHtml(view: AcceptanceView): string {
  return document(
    markup(
      <Sheet title={`${view.prop}: acceptance`}>
        <h1>{view.prop}</h1>
        <h2>Acceptance sheet</h2>
        <Acceptance {...view} />
      </Sheet>,
    ),
  );
}

/**
 * The book of a prop: the same bytes for the same file and what is beside it.
 * @returns also what is not in it, and why
 */
export async function bookHtml(
  read: Whole,
  sheet: AcceptanceView,
  withAcceptance: boolean,
): Promise<{ html: string; missing: string[] }> {
  const { prop, file, findings } = read;
  const missing: string[] = [];
  const cues: BookView['cues'][number][] = [];
  for (const cue of Object.keys(prop.cues)) {
    try {
      const rehearsal = await rehearse(prop, cue, LONGEST_S);
      const drawing = dataUri(TYPES.svg, Buffer.from(timeline(rehearsal, prop)));
      cues.push({ rehearsal, drawing });
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      missing.push(`cue ${cue}: ${error.message}`);
    }
  }
  const picture = await pictureOf(read, missing);
  const name = basename(file);
  const html = markup(
    <Book
      {...{ prop, picture, cues }}
      {...{ file: name, version: sheet.version, program: sheet.program, date: sheet.date }}
      findings={[
        ...findings.map(
          ({ line, path, wrong, severity }) => `${severity}, line ${line}: ${path}: ${wrong}`,
        ),
        ...missing,
      ]}
      loom={loomView(prop)}
      firstPower={firstPower(prop, name)}
      faults={faultsWanted(prop).map(({ channel, symptom }) => traceFault(prop, channel, symptom))}
      acceptance={withAcceptance ? sheet : undefined}
    />,
  );
  return { html: document(html), missing };
}

async function pictureOf(
  { prop, file }: Whole,
  missing: string[],
): Promise<{ uri: string } | undefined> {
  if (!prop.picture) return undefined;
  const name = prop.picture.file;
  try {
    const { type, bytes } = await pictureBeside(file, name);
    return { uri: dataUri(TYPES[type], bytes) };
  } catch (error) {
    const { code, message } = error as NodeJS.ErrnoException;
    missing.push(`picture ${name}: ${code ?? message}`);
    return undefined;
  }
}
