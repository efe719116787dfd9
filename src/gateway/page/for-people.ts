/** What the daemon says in terms of its API, and what the page calls it. */
const TERMS: readonly (readonly [RegExp, string])[] = [
  // The journal says first by which method something was refused.
  [/^[a-z]+\.[a-z]+: /, ''],
  // A minus before a number, not the hyphen of `J1-12`.
  [/(?<![\w.\-/])-(?=\d)/g, '−'],
  [/;? ?\((?:lease|prop|channel|cue|idle|lockout)\.[a-z]+\)/g, ''],
  // Where a file is on the board is for those who log in there.
  [/(?:\/[^\s/:]+)+\/(?=[^\s/:]+\.ya?ml\b)/g, ''],
  [/: \(file\): /g, ': '],
  [/ \(clash: take over\)/g, ''],
  [/,? with confirm: "[^"]*"/g, ''],
  [/; use (?:channel|group)\.[a-z]+/g, ''],
  [/\bholds the lease\b/g, 'has control'],
  [/\bhold the lease\b/g, 'have control'],
  [/\breleased the lease\b/g, 'gave up control'],
  [/\btook the lease\b/g, 'took control'],
  [/\bthe lease\b/g, 'control'],
];

/** A sentence of the daemon in the words of the page. */
export function forPeople(text: string): string {
  return TERMS.reduce((words, [term, plain]) => words.replace(term, plain), text);
}

/**
 * Lets fields for numbers take a true minus sign, as it is shown everywhere: it may be typed, or copied
 * from what the page says.
 */
export function takeMinusSigns(): void {
  addEventListener(
    'beforeinput',
    (event) => {
      const { target, data } = event;
      if (!(target instanceof HTMLInputElement) || target.type !== 'number') return;
      if (!data?.includes('−')) return;
      event.preventDefault();
      // The one way that keeps what is typed before and after it, and the field's own undo.
      document.execCommand('insertText', false, data.replaceAll('−', '-'));
    },
    true,
  );
}
