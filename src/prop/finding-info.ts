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

/** The code of the rule, or of the part of the file. */
function codeOf({ code, path }: Finding): string {
  if (code) return code;
  if (path === WHOLE_FILE) return 'yaml.syntax';
  return `prop.${/^[a-zA-Z]+/.exec(path)?.[0] ?? 'file'}`;
}
