/**
 * Control, format and line-break characters: what would forge a line of a log, or write elsewhere on
 * a terminal.
 */
const HIDDEN = /[\p{C}\p{Zl}\p{Zp}]/gu;
/** Nothing hidden is in these; to compile the other takes a slow board most of a tick. */
const VISIBLE_ASCII = /^[\x20-\x7e]*$/;

/** A text that goes to logs and screens as one line: each hidden character becomes `instead`. */
export function plain(text: string, instead = '\ufffd'): string {
  return VISIBLE_ASCII.test(text) ? text : text.replace(HIDDEN, instead);
}

/** Control characters but for the ends of lines and tabs, and those that turn the direction of writing. */
const UNPRINTABLE = /[^\P{Cc}\t\r\n]|[\u202a-\u202e\u2066-\u2069]/gu;

/** A text of several lines for a terminal: names out of a file must not write elsewhere on it. */
export function printable(text: string): string {
  return text.replace(UNPRINTABLE, '\ufffd');
}
