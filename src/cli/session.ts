import { readFileSync } from 'node:fs';
import { createInterface, type Interface } from 'node:readline/promises';
import type { Result } from '../api/methods.ts';
import { Refusal } from '../shared/errors.ts';
import { KEPT_LINES, loadHistory, saveHistory } from './history.ts';
import { EXIT, errorObject, errorText, print, UsageError } from './output.ts';
import { promptParser } from './program.ts';
import { VERBS } from './table.ts';
import { words } from './values.ts';
import { type Argument, type NameKind, type Operator, type Outcome, verb } from './verb.ts';

const QUIT = verb({
  name: 'quit',
  aliases: ['exit'],
  summary: 'end the session (so does Ctrl-D)',
  where: 'prompt',
  args: [],
  run: async () => ({ result: undefined, text: '' }),
});

const SCRIPT: Argument = { name: 'file', doc: 'a script: lines as in a session, # for comments' };

/** A script by itself: a session without a prompt. */
export const runVerb = verb<{ file: string }>({
  name: 'run',
  summary: 'run a script, line by line, and keep the lease until it ends',
  where: 'both',
  args: [SCRIPT],
  independent: true,
  run: ({ file }, operator) => session(operator, readScript(file)),
});

/** The same within a session. */
const RUN_HERE = verb<{ file: string }>({
  name: 'run',
  summary: 'run a script, line by line',
  where: 'prompt',
  args: [SCRIPT],
  independent: true,
  async run({ file }, operator) {
    if (depth >= DEEPEST) throw new UsageError(`scripts run each other more than ${DEEPEST} deep`);
    depth++;
    try {
      const exit = await runLines(
        operator,
        linesOf(readScript(file), () => false),
      );
      return { result: undefined, text: '', exit };
    } finally {
      depth--;
    }
  },
});

const PROMPT_VERBS = [...VERBS, RUN_HERE, QUIT];

/** An interactive prompt, or a script from a pipe, that keeps the lease until it ends. */
export const sessionVerb = verb({
  name: 'session',
  summary: 'a prompt (or a script from a pipe) that keeps the lease until it ends',
  where: 'line',
  args: [],
  independent: true,
  run: (_inputs, operator) => session(operator),
});

async function session(operator: Operator, script?: Script): Promise<Outcome> {
  const { io } = operator;
  const interactive = script === undefined && io.stdin.isTTY === true;
  let prompt: Interface | undefined;
  let interrupted = false;
  operator.inSession = true;

  /** Above the line that is being typed. */
  const notify = (text: string) => {
    if (prompt && interactive && !operator.busy) {
      io.stderr.write('\r\x1b[K');
      print(io.stderr, `-- ${text}`);
      prompt.setPrompt(`${operator.conditionWord}> `);
      prompt.prompt(true);
    } else
      print(io.stderr, operator.options.json ? JSON.stringify({ notice: text }) : `-- ${text}`);
  };
  const onInterrupt = () => {
    const idle = !operator.busy;
    if (!interactive) interrupted = true;
    else if (prompt && idle) clearLine(prompt);
    operator.interrupt().then(
      (text) => {
        if (idle) notify(text);
        if (!interactive) prompt?.close();
      },
      () => {
        // The link is lost, which ends the session.
      },
    );
  };
  const forgetInterrupt = io.onInterrupt(onInterrupt);
  try {
    const { prop, condition } = await operator.connect();
    const client = await operator.client();
    client.on('close', () => prompt?.close());
    operator.onNotice = notify;
    await operator.lease();
    if (operator.options.wake && condition !== 'live') await operator.wake();
    await operator.follow();

    const history = interactive ? await loadHistory(io.env) : [];
    let typed = history;
    if (!script) {
      prompt = createInterface({
        input: io.stdin,
        ...(interactive && { output: io.stdout, terminal: true }),
        history,
        historySize: KEPT_LINES,
        removeHistoryDuplicates: true,
        // Asked each time: marks come and go while the session lasts.
        completer: async (line: string) => complete(line, await operator.call('channel.list', {})),
      });
      const asked = prompt;
      operator.ask = (question, signal) =>
        Promise.race([
          asked.question(question, { signal }),
          new Promise<string>((resolve) => asked.once('close', () => resolve(''))),
        ]);
      prompt.on('SIGINT', onInterrupt);
      prompt.on('history', (now: string[]) => {
        typed = [...now];
      });
    }
    const source = script
      ? linesOf(script, () => interrupted)
      : typedLines(prompt!, interactive && (() => `${operator.conditionWord}> `));
    if (interactive) {
      print(
        io.stdout,
        `${prop}: ${operator.conditionText}. You hold the lease; help lists what you can do.`,
      );
      if (operator.condition === 'parked') print(io.stdout, 'Type wake before you move anything.');
    }
    const exit = await runLines(operator, source);
    prompt?.close();
    const handedOver = await operator.handOver(operator.options.graceS ?? 0);
    if (interactive) await keepHistory(operator, typed);
    if (operator.lost) throw operator.lost;
    if (interrupted && exit === EXIT.done) throw new Refusal('command.interrupted', 'interrupted');
    return { result: undefined, text: handedOver ?? '', exit };
  } finally {
    forgetInterrupt();
    prompt?.close();
  }
}

/** Drops what is typed so far, as a shell does on Ctrl-C. */
function clearLine(prompt: Interface): void {
  prompt.write(null, { ctrl: true, name: 'e' });
  prompt.write(null, { ctrl: true, name: 'u' });
}

async function keepHistory({ io }: Operator, typed: readonly string[]): Promise<void> {
  try {
    await saveHistory(io.env, typed);
  } catch (error) {
    print(io.stderr, `sinew: the history cannot be saved: ${errorText(error)}`);
  }
}

interface Place {
  file?: string;
  /** From 1. */
  line: number;
}

/** Where lines come from. */
interface Source {
  /** The next line; undefined at the end. */
  next(): Promise<string | undefined>;
  /** The place of the line that came last, for errors; undefined where a person sees it. */
  place(): Place | undefined;
}

/** @param promptText shown before each line; false for a pipe */
function typedLines(prompt: Interface, promptText: (() => string) | false): Source {
  const lines = prompt[Symbol.asyncIterator]();
  let count = 0;
  return {
    async next() {
      if (promptText) {
        prompt.setPrompt(promptText());
        prompt.prompt();
      }
      count++;
      const { value, done } = await lines.next();
      return done ? undefined : value;
    },
    place: () => (promptText ? undefined : { line: count }),
  };
}

interface Script {
  file: string;
  lines: readonly string[];
}

/** Scripts that run scripts end here: one may run itself. */
const DEEPEST = 8;
let depth = 0;

/**
 * Reads a script and checks every line, so that no show ends in the middle for a slip of the pen.
 * @throws UsageError that names the lines; nothing has been done then
 */
function readScript(file: string): Script {
  let text: string;
  try {
    text = readFileSync(file, 'utf8');
  } catch (error) {
    throw new UsageError(`cannot read the script: ${(error as Error).message}`);
  }
  const lines = text.replace(/^\uFEFF/, '').split(/\r?\n/);
  const parser = promptParser(PROMPT_VERBS, () => {});
  const wrong = lines.flatMap((line, at) => {
    try {
      const typed = words(line);
      if (typed.length > 0) parser.parse(typed);
      return [];
    } catch (error) {
      return [`${placeText({ file, line: at + 1 })}: ${errorText(error)}`];
    }
  });
  if (wrong.length > 0) throw new UsageError(`nothing was done\n${wrong.slice(0, 20).join('\n')}`);
  return { file, lines };
}

function linesOf({ file, lines }: Script, ended: () => boolean): Source {
  let count = 0;
  return {
    next: async () => (ended() ? undefined : lines[count++]),
    place: () => ({ file, line: count }),
  };
}

/** Runs lines until the end of input, `quit`, a lost link or, in a script, a refusal: the exit code. */
async function runLines(operator: Operator, source: Source): Promise<number> {
  const { io } = operator;
  const parser = promptParser(PROMPT_VERBS, (text) => io.stdout.write(text));
  for (;;) {
    const line = await source.next();
    if (line === undefined || operator.lost) return EXIT.done;
    try {
      const typed = words(line);
      if (typed.length === 0) continue;
      const chosen = parser.parse(typed);
      if (!chosen) continue;
      const { verb, inputs } = chosen;
      if (verb === QUIT) return EXIT.done;
      const { result, text, exit } = await (verb.independent
        ? verb.run(inputs, operator)
        : operator.run(verb, inputs));
      if (operator.options.json && result !== undefined) print(io.stdout, JSON.stringify(result));
      else if (text) print(io.stdout, text);
      if (exit && verb === RUN_HERE && source.place()) return exit;
    } catch (error) {
      if (operator.lost) return EXIT.unreachable;
      complain(operator, error, source.place());
      if (source.place()) return EXIT.refused;
    }
  }
}

function complain(operator: Operator, error: unknown, place: Place | undefined): void {
  const { stderr } = operator.io;
  if (operator.options.json) print(stderr, JSON.stringify({ ...place, error: errorObject(error) }));
  else print(stderr, `sinew: ${place ? `${placeText(place)}: ` : ''}${errorText(error)}`);
}

function placeText({ file, line }: Place): string {
  return file === undefined ? `line ${line}` : `${file}, line ${line}`;
}

/** What may stand at the end of `line`, and the part of it that is typed already. */
export function complete(
  line: string,
  { channels, groups, poses }: Result<'channel.list'>,
): [hits: string[], typed: string] {
  const before = line.trimStart().split(/\s+/);
  const typed = before.pop() ?? '';
  const [name, ...inputs] = before;
  const named: Record<NameKind, () => string[]> = {
    channel: () => Object.keys(channels),
    target: () => [...Object.keys(channels), ...Object.keys(groups)],
    mark: () => {
      const target = inputs[0] ?? '';
      const meant = Object.hasOwn(groups, target) ? groups[target]! : [target];
      return meant.flatMap((channel) => Object.keys(channels[channel]?.marks ?? {}));
    },
    pose: () => poses,
  };
  const verbs = PROMPT_VERBS.flatMap((verb) => [verb.name, ...(verb.aliases ?? [])]);
  const chosen = PROMPT_VERBS.find((verb) => verb.name === name || verb.aliases?.includes(name!));
  const argument = chosen?.args[inputs.length];
  let names = [...(argument?.choices ?? []), ...(argument?.names ? named[argument.names]() : [])];
  if (name === undefined) names = [...verbs, 'help'];
  else if (name === 'help') names = verbs;
  else if (typed.startsWith('-')) {
    names = (chosen?.options ?? []).map(({ flags }) => flags.split(' ')[0]!);
  }
  const hits = [...new Set(names)].filter((candidate) => candidate.startsWith(typed)).sort();
  return [hits.map((hit) => `${hit} `), typed];
}
