import { writeFile } from 'node:fs/promises';
import type { Writable } from 'node:stream';
import { RpcError } from '../api/client.ts';
import type { Finding } from '../prop/finding.ts';
import { type FindingInfo, findingInfos } from '../prop/finding-info.ts';
import { CODES, Refusal } from '../shared/errors.ts';
import { printable } from '../shared/plain.ts';
import { REFUSALS, type RefusalCode } from '../shared/refusals.ts';
import { tidy } from '../shared/units.ts';
import { LinkLost, Unreachable } from './client.ts';
import { findingLine } from './file-text.ts';

/** What was typed cannot be understood. */
export class UsageError extends Error {
  override readonly name = 'UsageError';
}

/** Exit codes: 0 done. */
export const EXIT = { done: 0, refused: 1, usage: 2, unreachable: 3 } as const;

/** The exit code of a check: notes alone are fine. */
export function findingsExit(findings: readonly Pick<Finding, 'severity'>[]): number {
  return findings.some(({ severity }) => severity !== 'note') ? EXIT.refused : EXIT.done;
}

/** Lines of findings, and how many there are. */
export function withCount(lines: readonly string[]): string[] {
  return [...lines, lines.length === 1 ? '1 finding' : `${lines.length} findings`];
}

/** The exit code for an error: 2 wrong usage, 3 daemon unreachable or lost, 1 anything else. */
export function exitCode(error: unknown): number {
  if (error instanceof UsageError) return EXIT.usage;
  if (error instanceof Unreachable || error instanceof LinkLost) return EXIT.unreachable;
  return EXIT.refused;
}

/** The error as `--json` prints it: `{ code, message, data: { code, reason, ... } }`. */
export function errorObject(error: unknown): { code: number; message: string; data: object } {
  if (error instanceof RpcError) {
    const data = error.data ?? { reason: error.message };
    return { code: error.code, message: error.title, data };
  }
  if (error instanceof Refusal) return error.toObject();
  const reason = error instanceof Error ? error.message : String(error);
  const failure = (word: RefusalCode, message: string) => ({
    code: CODES[REFUSALS[word][0]],
    message,
    data: { code: word, reason },
  });
  if (error instanceof UsageError) return failure('command.usage' satisfies RefusalCode, 'Usage');
  if (error instanceof Unreachable)
    return failure('link.unreachable' satisfies RefusalCode, 'Unreachable');
  if (error instanceof LinkLost) return failure('link.lost' satisfies RefusalCode, 'Link lost');
  return failure('daemon.fault' satisfies RefusalCode, 'Internal error');
}

/** The error for a person: in one line, and below it what is wrong with a file, or what differs. */
export function errorText(error: unknown): string {
  if (error instanceof RpcError) {
    const { reason = error.message, ...values } = error.data ?? {};
    return [reason + extras(reason, values), ...lists(values)].join('\n');
  }
  if (error instanceof Error) return error.message || error.name;
  return String(error);
}

/** Findings and differences that the daemon sends with a refusal, a line each. */
function lists({ findings, changed }: Record<string, unknown>): string[] {
  const found = Array.isArray(findings) ? findings.map(foundLine) : [];
  const differ = Array.isArray(changed) ? changed.map(String) : [];
  return [...found, ...differ].map((line) => `  ${line}`);
}

/** A finding as the API gives it, or as the check of the prop file makes it. */
function foundLine(finding: FindingInfo | Finding): string {
  return findingLine('message' in finding ? finding : findingInfos([finding])[0]!);
}

/** The numbers that the reason does not already name. */
function extras(reason: string, values: Record<string, unknown>): string {
  const mentioned = new Set(reason.match(/-?\d+(\.\d+)?/g));
  const shown = Object.entries(values).flatMap(([name, value]) => {
    const numbers = Array.isArray(value) ? value : [value];
    const plain = numbers.length <= 2 && numbers.every((part) => typeof part === 'number');
    if (!plain || numbers.every((part) => mentioned.has(String(part)))) return [];
    return [`${name} ${numbers.join(' to ')}`];
  });
  return shown.length > 0 ? ` (${shown.join(', ')})` : '';
}

/** A value of a channel: `12.5`, `on`, `#ff8800`. */
export function show(value: unknown): string {
  if (typeof value === 'number') return String(tidy(value));
  if (typeof value === 'boolean') return value ? 'on' : 'off';
  return value === undefined || value === null ? '' : String(value);
}

/** Rows under a heading, columns aligned; a column of numbers aligns right. */
export function table(heading: readonly string[], rows: readonly (readonly string[])[]): string {
  const numeric = heading.map((_title, column) => {
    const cells = rows.map((row) => row[column] ?? '');
    return cells.some((cell) => cell !== '') && cells.every((cell) => /^(-?[\d.]+)?$/.test(cell));
  });
  return aligned([heading, ...rows], numeric).join('\n');
}

/** One line for each row, columns aligned: left, or `right` where that says so. */
export function aligned(
  rows: readonly (readonly string[])[],
  right: readonly boolean[] = [],
): string[] {
  const widths = (rows[0] ?? []).map((_cell, column) =>
    Math.max(...rows.map((row) => row[column]?.length ?? 0)),
  );
  return rows.map((row) =>
    widths
      .map((width, column) => {
        const cell = row[column] ?? '';
        return right[column] ? cell.padStart(width) : cell.padEnd(width);
      })
      .join('  ')
      .trimEnd(),
  );
}

/** Names come from files and from other people: none reaches the terminal as a command to it. */
export function print(to: Writable, text: string): void {
  to.write(`${printable(text)}\n`);
}

/** Writes a result to a file. @throws Refusal with the reason why it cannot */
export async function writeOut(file: string, text: string): Promise<void> {
  try {
    await writeFile(file, text);
  } catch (error) {
    throw new Refusal('command.cannot-write', `cannot write ${file}: ${(error as Error).message}`, {
      file,
    });
  }
}
