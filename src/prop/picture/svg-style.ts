import { PRESENTATION } from './svg-allowed.ts';

/** A rule of a style sheet for one kind, class or id. */
export interface Rule {
  /** 0: kind of element, 1: class, 2: id (Selectors 4, 17: specificity). */
  weight: 0 | 1 | 2;
  name: string;
  declared: Record<string, string>;
}

const ALLOWED = new Set(PRESENTATION);
const MAX_RULES = 1000;

/**
 * The simple rules of a style sheet, the weaker first: drawing programs write colours so.
 * @param check refuses what asks for something elsewhere
 * @param leftOut gets a word for what is not understood
 */
export function rulesOf(css: string, check: (text: string) => void, leftOut: Set<string>): Rule[] {
  check(css);
  const rules: Rule[] = [];
  const blocks = withoutComments(css)
    .replace(/<!--|-->/g, '')
    .split('}');
  // Behind the last bracket there is no rule.
  for (const block of blocks.slice(0, -1)) {
    const [selectors, body] = block.split('{').slice(-2);
    if (body === undefined) continue;
    const declared = declarations(body);
    for (const selector of selectors!.split(',')) {
      const [, mark, name] = /^\s*([.#]?)([\w-]+)\s*$/.exec(selector) ?? [];
      if (name === undefined || rules.length >= MAX_RULES) leftOut.add('some rules of its styles');
      else rules.push({ weight: mark === '#' ? 2 : mark === '.' ? 1 : 0, name, declared });
    }
  }
  return rules.sort((a, b) => a.weight - b.weight);
}

/** A comment without an end goes on to the end of the text (CSS Syntax Module Level 3, 4.3.2). */
function withoutComments(css: string): string {
  let text = '';
  for (let at = 0; ; ) {
    const start = css.indexOf('/*', at);
    if (start < 0) return text + css.slice(at);
    text += css.slice(at, start);
    const end = css.indexOf('*/', start + 2);
    if (end < 0) return text;
    at = end + 2;
  }
}

/** What style sheet and `style` attribute say of an element, as attributes. */
export function styledBy(
  { name, attributes }: { name: string; attributes: Record<string, string> },
  rules: readonly Rule[],
): Record<string, string> {
  const { id, class: names = '', style } = attributes;
  if (rules.length === 0 && style === undefined) return {};
  const classes = names.split(/\s+/);
  const found: Record<string, string> = {};
  for (const { weight, name: wanted, declared } of rules)
    if (weight === 0 ? wanted === name : weight === 1 ? classes.includes(wanted) : wanted === id)
      Object.assign(found, declared);
  return style === undefined ? found : Object.assign(found, declarations(style));
}

function declarations(text: string): Record<string, string> {
  const found: Record<string, string> = {};
  for (const one of text.split(';')) {
    const at = one.indexOf(':');
    const name = one.slice(0, at).trim().toLowerCase();
    if (at > 0 && ALLOWED.has(name))
      found[name] = one
        .slice(at + 1)
        .replace(/!important/i, '')
        .trim();
  }
  return found;
}
