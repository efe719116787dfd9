import { type Finding, WHOLE_FILE } from './finding.ts';

/** A finding as the API gives it. */
export interface FindingInfo {
  /** A stable dotted word: the kind of rule, then the part of the file. */
  code: string;
  level: Finding['severity'];
  line: number;
  column: number;
  path: string;
  message: string;
  /** The only possible remedy, as an edit, if there is one. */
  remedy?: { path: (string | number)[]; value: unknown };
}

/** Findings as the API gives them. */
export function findingInfos(findings: readonly Finding[]): FindingInfo[] {
  return findings.map((finding) => {
    const { severity, line, column, path, wrong, right, fix } = finding;
    return {
      code: codeOf(finding),
      level: severity,
      line,
      column,
      path,
      message: `${wrong}; ${right}`,
      ...(fix && 'path' in fix && { remedy: { path: [...fix.path], value: fix.value } }),
    };
  });
}

/** A finding of a version, with its place among all of that version. */
export interface PlacedFinding {
  at: number;
  code: string;
  level: Finding['severity'];
  line: number;
  column: number;
  path: string;
  wrong: string;
  right: string;
  /** There is one sure correction. */
  sure?: true;
}

/** More than anybody reads (findings). */
const MAX_FINDINGS = 300;
const LEVELS: readonly Finding['severity'][] = ['error', 'warning', 'note'];

/** The most serious findings first, in the order of the file; what is left out is counted. */
export function placedFindings(findings: readonly Finding[]): {
  findings: PlacedFinding[];
  more: number;
} {
  const all = findings.map((finding, at) => {
    const { severity, line, column, path, wrong, right, fix } = finding;
    const own: PlacedFinding = {
      at,
      code: codeOf(finding),
      level: severity,
      line,
      column,
      path,
      wrong,
      right,
    };
    if (fix) own.sure = true;
    return own;
  });
  const sorted = LEVELS.flatMap((level) => all.filter((one) => one.level === level));
  return { findings: sorted.slice(0, MAX_FINDINGS), more: Math.max(0, all.length - MAX_FINDINGS) };
}

/** The code of the rule, or of the part of the file. */
export function codeOf({ code, path }: Pick<Finding, 'code' | 'path'>): string {
  if (code) return code;
  if (path === WHOLE_FILE) return 'yaml.syntax';
  return `prop.${/^[a-zA-Z]+/.exec(path)?.[0] ?? 'file'}`;
}
