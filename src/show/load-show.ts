import { dirname, resolve } from 'node:path';
import { type Finding, inOrder, type Path, type Remark } from '../prop/finding.ts';
import { type Loaded, loadProp, loadText } from '../prop/load.ts';
import type { Prop } from '../prop/schema.ts';
import { remarksOfIssues, valueAt } from '../prop/schema-remarks.ts';
import { type PropText, readText } from '../prop/text.ts';
import { lintShowFile } from './lint-show-file.ts';
import { type ShowControl, type ShowFile, showSchemas } from './show-file.ts';

/** A show, read and checked. */
export interface LoadedShow {
  file: string;
  /** Undefined when any finding is an error. */
  show: ShowFile | undefined;
  /** The prop files that have no errors, by the name of the prop. */
  props: ReadonlyMap<string, Prop>;
  source: PropText | undefined;
  findings: Finding[];
}

/** Reads a show and the prop files that it names. Never throws: whatever is wrong is a finding. */
export async function loadShow(file: string): Promise<LoadedShow> {
  const read = await loadText(file);
  if (typeof read !== 'string')
    return { file, show: undefined, props: new Map(), source: undefined, findings: read.findings };
  return parseShow(read, file);
}

/** What commanding a show needs of its file, or what is wrong with that; prop files are not read. */
export async function loadControl(
  file: string,
): Promise<{ control: ShowControl } | { findings: Finding[] }> {
  const text = await loadText(file);
  if (typeof text !== 'string') return { findings: text.findings };
  const source = readText(text);
  const { control } = showSchemas();
  const parsed = control.safeParse(source.raw);
  if (parsed.success) return { control: parsed.data };
  if (source.raw === undefined) return { findings: [...source.findings] };
  const remarks = remarksOfIssues(parsed.error.issues, source.raw, control);
  return { findings: remarks.map((remark) => source.place(remark)) };
}

/** @param load reads a prop file; for tests */
export async function parseShow(
  text: string,
  file: string,
  load: (path: string) => Promise<Loaded> = loadProp,
): Promise<LoadedShow> {
  const source = readText(text);
  const findings = [...source.findings];
  const none = { file, show: undefined, props: new Map<string, Prop>(), source };
  if (source.raw === undefined) return { ...none, findings };
  const { showFile } = showSchemas();
  const parsed = showFile.safeParse(source.raw);
  const remarks: Remark[] = parsed.success
    ? []
    : remarksOfIssues(parsed.error.issues, source.raw, showFile);
  const fit = parsed.success ? parsed.data : soundPart(source.raw);
  const loaded = await loadAll(fit.props, dirname(file), load);
  const props = new Map<string, Prop>();
  for (const [name, { prop }] of loaded) if (prop) props.set(name, prop);
  const isWritten = (path: Path) => valueAt(source.raw, path) !== undefined;
  remarks.push(...lintShowFile(fit, loaded, isWritten));
  findings.push(...remarks.map((remark) => source.place(remark)));
  const blocked = findings.some(({ severity }) => severity === 'error');
  const show = parsed.success && !blocked ? parsed.data : undefined;
  return { file, show, props, source, findings: inOrder(findings) };
}

/** Each file once, however many props have it. */
async function loadAll(
  props: ShowFile['props'],
  folder: string,
  load: (path: string) => Promise<Loaded>,
): Promise<Map<string, Loaded>> {
  const read = new Map<string, Promise<Loaded>>();
  const found = new Map<string, Loaded>();
  for (const [name, { file }] of Object.entries(props)) {
    const path = resolve(folder, file);
    let loaded = read.get(path);
    if (!loaded) {
      loaded = load(path);
      read.set(path, loaded);
    }
    found.set(name, await loaded);
  }
  return found;
}

/** The entries of a file with errors that can still be checked; a step that cannot is one that does nothing. */
function soundPart(raw: unknown): ShowFile {
  const { prop, supply, step, showFile } = showSchemas();
  const part = (key: string) => valueAt(raw, [key]);
  const entries = <T>(key: string, schema: { safeParse(value: unknown): { data?: T } }) =>
    Object.fromEntries(
      Object.entries(Object(part(key))).flatMap(([name, value]) => {
        const { data } = schema.safeParse(value);
        return data === undefined ? [] : [[name, data]];
      }),
    ) as Record<string, T>;
  const steps = Array.isArray(part('timeline')) ? (part('timeline') as unknown[]) : [];
  return {
    sinewShow: 1,
    name: showFile.shape.name.safeParse(part('name')).data ?? '',
    leadS: 8,
    props: entries('props', prop),
    groups: showFile.shape.groups.safeParse(part('groups')).data ?? {},
    supplies: entries('supplies', supply),
    timeline: steps.map((one) => step.safeParse(one).data ?? { at: 0, otherwise: 'skip' }),
    schedule: [],
  };
}
