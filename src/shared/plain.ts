/**
 * Control, format and line-break characters: what would forge a line of a log, or write elsewhere on
 * a terminal.
 */
const HIDDEN = /[\p{C}\p{Zl}\p{Zp}]/gu;

/** A text that goes to logs and screens as one line: each hidden character becomes `instead`. */
export function plain(text: string, instead = '\ufffd'): string {
  return text.replace(HIDDEN, instead);
}
