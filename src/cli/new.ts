import { readFile, stat, writeFile } from 'node:fs/promises';
import { createInterface, type Interface } from 'node:readline/promises';
import type { Answers } from '../proposal/answers.ts';
import type { Question } from '../proposal/interview.ts';
import type { Decision, Proposal } from '../proposal/propose.ts';
import { Refusal } from '../shared/errors.ts';
import { aligned, print, UsageError } from './output.ts';
import { type Io, type Operator, type Outcome, verb } from './verb.ts';

/**
 * `sinew new`: asks what is on the table, and writes a prop file with boards, pins, rails, fuses and the
 * rest proposed, each with its reason. What is proposed can be changed before it is written.
 */

interface Inputs {
  file?: string;
  answers?: string;
}

export const newVerb = verb<Inputs>({
  name: 'new',
  summary:
    'propose a prop file: asks what moves, lights up, switches and sounds, and gives its reasons',
  where: 'line',
  args: [
    { name: 'file', doc: 'the file to write; default: by the name of the prop', optional: true },
  ],
  options: [
    {
      flags: '--answers <FILE.json>',
      doc: 'take the answers from this file and ask nothing; or pipe them, a line each',
    },
  ],
  independent: true,
  run: propose,
});

/** How a person gets back, or out. */
const HELP =
  'Enter takes what is in brackets. A number or the first letters choose. "back" goes back one question, Ctrl-C leaves; nothing is written until you say so.';

async function propose({ file, answers: from }: Inputs, operator: Operator): Promise<Outcome> {
  const { io, options } = operator;
  // Questions are for people; what --json prints is for programs.
  const talk = options.json ? io.stderr : io.stdout;
  if (file !== undefined) await mustBeFree(file);
  const { readAnswers } = await import('../proposal/answers.ts');
  const { propose: proposalOf, TooMuch } = await import('../proposal/propose.ts');
  const sheet = from === undefined ? new Asking(io, talk) : undefined;
  try {
    const raw = sheet ? await sheet.ask() : await jsonOf(from!);
    const read = readAnswers(raw);
    if ('wrong' in read) throw new UsageError(read.wrong.join('\n'));
    let { answers } = read;
    const made = (given: Answers): Proposal => {
      try {
        return proposalOf(given);
      } catch (error) {
        if (error instanceof TooMuch) throw new UsageError(error.message);
        throw error;
      }
    };
    let proposal = made(answers);
    const target = file ?? `${slugOf(answers.name)}.yaml`;
    if (file === undefined) await mustBeFree(target);
    if (sheet?.interactive)
      ({ answers, proposal } = await sheet.review(target, { answers, proposal }, made));
    else if (proposal.problems.length > 0)
      throw new UsageError(
        proposal.problems.map(({ id, wrong }) => `changes: ${id}: ${wrong}`).join('\n'),
      );
    return await written(target, { answers, proposal }, sheet, operator);
  } finally {
    sheet?.close();
  }
}

async function written(
  file: string,
  { answers, proposal }: Proposed,
  sheet: Asking | undefined,
  { options }: Operator,
): Promise<Outcome> {
  const { formatFinding } = await import('../prop/load.ts');
  const { wholeProposal } = await import('../proposal/whole.ts');
  const { loaded, added: wires, left } = wholeProposal(proposal, answers.wiring, file);
  const { decisions, cautions, supplies } = proposal;
  const { findings, prop, text } = loaded;
  const lines = findings.map((finding) => formatFinding(finding, file));
  if (!prop)
    throw new Refusal(
      'file.would-be-wrong',
      `nothing was written, since the file would have errors:\n${lines.join('\n')}`,
      { file },
    );
  try {
    // Only where nothing is there: what somebody wrote is never replaced.
    await writeFile(file, text, { flag: 'wx' });
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'EEXIST') throw taken(file);
    const reason = `cannot write ${file}: ${(error as Error).message}`;
    throw new Refusal('command.cannot-write', reason, { file });
  }
  const asked = sheet?.asked ?? 0;
  const toBuy = supplies.filter((one) => one.toBuy && one.branches.length > 0);
  const report = [
    ...(sheet?.interactive ? [] : [...decisionLines(decisions), '', ...cautionLines(cautions), '']),
    ...lines,
    ...left.map((one) => `yours to decide: ${one}`),
    ...(wires.length > 0
      ? [
          `wiring: ${wires.length} wires, plugs, blocks and fuse holders; sinew loom ${file} lists them, with --shopping what to buy`,
        ]
      : []),
    ...toBuy.map(({ id, volts, amps }) => `to buy: ${id}, a supply of ${volts} V and ${amps} A`),
    `${file} is written: ${decisions.length} values proposed${asked > 0 ? ` from ${asked} questions` : ''}, ${findings.length === 0 ? 'and check finds nothing' : `${findings.length} findings`}`,
    `next: sinew check ${file} --first-power`,
  ];
  const result = {
    ...{ file, written: true, questions: asked, typed: sheet?.typed ?? 0, answers },
    ...{ decisions, cautions, wiring: wires, left, findings },
  };
  return { result, text: options.json ? '' : report.join('\n') };
}

/** @throws UsageError where something of that name is there */
async function mustBeFree(file: string): Promise<void> {
  if (await stat(file).catch(() => undefined)) throw taken(file);
}

function taken(file: string): UsageError {
  return new UsageError(
    `${file} is there already, and nothing is overwritten; give another name: sinew new OTHER.yaml`,
  );
}

/** A file name for a prop: `Two-clawed crab` is two-clawed-crab. */
function slugOf(name: string): string {
  const slug = name
    .normalize('NFKD')
    .toLowerCase()
    .replace(/[^a-z0-9]+/g, '-')
    .replace(/^-+|-+$/g, '');
  return slug || 'prop';
}

async function jsonOf(file: string): Promise<unknown> {
  let text: string;
  try {
    text = await readFile(file, 'utf8');
  } catch (error) {
    throw new Refusal('file.unreadable', `cannot read ${file}: ${(error as Error).message}`, {
      file,
    });
  }
  try {
    return JSON.parse(text);
  } catch (error) {
    throw new UsageError(`${file} is not JSON: ${(error as Error).message}`);
  }
}

/** `12  claw_left: pin   main 6   GPIO 6 makes pulses, ...` */
function decisionLines(decisions: readonly Decision[]): string[] {
  return aligned(
    decisions.map(({ what, value, why }, i) => [String(i + 1), what, value, why]),
    [true],
  );
}

function cautionLines(cautions: readonly string[]): string[] {
  return cautions.map((one) => `! ${one}`);
}

/** Answers, and what is proposed for them. */
interface Proposed {
  answers: Answers;
  proposal: Proposal;
}

/** One who answers, at a terminal or by a pipe. */
class Asking {
  readonly interactive: boolean;
  /** Questions that were answered, and those for which something was typed. */
  asked = 0;
  typed = 0;
  readonly #talk: Io['stdout'] | Io['stderr'];
  readonly #prompt: Interface;
  readonly #lines: AsyncIterator<string>;
  #lineNumber = 0;
  #interrupted = false;

  constructor(io: Io, talk: Io['stdout'] | Io['stderr']) {
    this.#talk = talk;
    this.interactive = io.stdin.isTTY === true;
    this.#prompt = createInterface({
      input: io.stdin,
      ...(this.interactive && { output: talk, terminal: true }),
    });
    this.#prompt.on('SIGINT', () => {
      this.#interrupted = true;
      this.#prompt.close();
    });
    this.#lines = this.#prompt[Symbol.asyncIterator]();
  }

  close(): void {
    this.#prompt.close();
  }

  /** The answers as plain data. @throws UsageError for a wrong one from a pipe, with its line */
  async ask(): Promise<Record<string, unknown>> {
    const { interview } = await import('../proposal/interview.ts');
    const given = new Map<string, string>();
    if (this.interactive) print(this.#talk, HELP);
    for (;;) {
      const { question, answers, wrong } = interview(given);
      if (!question) {
        this.asked = given.size;
        this.typed = [...given.values()].filter((text) => text.trim() !== '').length;
        return answers;
      }
      if (wrong) {
        given.delete(question.id);
        if (!this.interactive)
          throw new UsageError(`line ${this.#lineNumber}, "${question.ask}": ${wrong.wrong}`);
        print(this.#talk, `  ${wrong.wrong}`);
      }
      const line = await this.#line(question);
      if (line.trim() === 'back' && this.interactive) {
        const last = [...given.keys()].at(-1);
        if (last !== undefined) given.delete(last);
      } else given.set(question.id, line);
    }
  }

  async #line(question: Question): Promise<string> {
    if (this.interactive) {
      print(this.#talk, `\n${question.ask}  (${question.why})`);
      for (const line of aligned(
        (question.options ?? []).map(({ value, about }, i) => [`  ${i + 1}`, value, about]),
      ))
        print(this.#talk, line);
    }
    return this.#next(`[${question.usual}] `);
  }

  /** The next line; the usual answer where a pipe has ended. @throws Refusal where a person leaves */
  async #next(prompt: string): Promise<string> {
    if (this.interactive) {
      this.#prompt.setPrompt(prompt);
      this.#prompt.prompt();
    }
    const { value, done } = await this.#lines.next();
    this.#lineNumber++;
    if (!done) return value;
    if (this.interactive || this.#interrupted)
      throw new Refusal('command.interrupted', 'left; nothing was written');
    return '';
  }

  /** Shows what is proposed, and takes changes by number until it is to be written. */
  async review(
    file: string,
    given: Proposed,
    propose: (answers: Answers) => Proposal,
  ): Promise<Proposed> {
    let { answers: now, proposal: shown } = given;
    let all = true;
    for (;;) {
      if (all) this.#show(shown);
      all = false;
      const line = (
        await this.#next(`Number to change, "list", Enter to write ${file}, "quit" to leave: `)
      ).trim();
      if (line === '') return { answers: now, proposal: shown };
      if (/^q(uit)?$/i.test(line))
        throw new Refusal('command.not-confirmed', 'left; nothing was written');
      const decision = shown.decisions[Number(line) - 1];
      if (!decision) {
        if (/^l(ist)?$/i.test(line)) all = true;
        else print(this.#talk, `  there is no number ${line}; 1 to ${shown.decisions.length}`);
        continue;
      }
      const next = await this.#changed(decision, now);
      if (!next) continue;
      const proposed = propose(next);
      const wrong = proposed.problems.filter(({ id }) => id === decision.id);
      if (wrong.length > 0) {
        for (const one of wrong) print(this.#talk, `  ${one.wrong}`);
        continue;
      }
      this.#difference(shown, proposed);
      now = next;
      shown = proposed;
    }
  }

  /** The answers with another value for a decision; undefined where it stays. */
  async #changed(decision: Decision, answers: Answers): Promise<Answers | undefined> {
    const { id, what, value, why, options } = decision;
    print(this.#talk, `  ${what} is ${value}: ${why}`);
    if (options) print(this.#talk, `  one of: ${options.join(', ')}`);
    const wanted = (await this.#next(`  instead (Enter: leave it, "undo": as proposed): `)).trim();
    if (wanted === '') return undefined;
    const { [id]: _, ...others } = answers.changes;
    return { ...answers, changes: wanted === 'undo' ? others : { ...others, [id]: wanted } };
  }

  #show({ decisions, cautions, problems }: Proposal): void {
    print(this.#talk, `\nProposed:\n${decisionLines(decisions).join('\n')}\n`);
    for (const line of cautionLines(cautions)) print(this.#talk, line);
    for (const { id, wrong } of problems) print(this.#talk, `  ${id}: ${wrong}`);
  }

  /** What else follows from a change. */
  #difference(before: Proposal, after: Proposal): void {
    const known = new Map(before.decisions.map(({ id, value }) => [id, value]));
    for (const { id, what, value } of after.decisions)
      if (known.get(id) !== value) print(this.#talk, `  ${what}: ${value}`);
    for (const { id, wrong } of after.problems) print(this.#talk, `  ${id}: ${wrong}`);
  }
}
