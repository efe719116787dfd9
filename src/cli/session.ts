import { createInterface, type Interface } from 'node:readline/promises';
import type { Result } from '../api/methods.ts';
import { Refusal } from '../shared/errors.ts';
import { KEPT_LINES, loadHistory, saveHistory } from './history.ts';
import { EXIT, errorObject, errorText, print } from './output.ts';
import { promptParser } from './program.ts';
import { VERBS } from './table.ts';
import { words } from './values.ts';
import { type NameKind, type Operator, type Outcome, verb } from './verb.ts';

const QUIT = verb({
  name: 'quit',
  summary: 'end the session (so does Ctrl-D)',
  where: 'prompt',
  args: [],
  run: async () => ({ result: undefined, text: '' }),
});

const PROMPT_VERBS = [...VERBS.filter(({ where }) => where !== 'line'), QUIT];

/** An interactive prompt, or a script from a pipe, that keeps the lease until it ends. */
export const sessionVerb = verb({
  name: 'session',
  summary: 'a prompt (or a script from a pipe) that keeps the lease until it ends',
  where: 'line',
  args: [],
  independent: true,
  run: (_given, operator) => session(operator),
});

async function session(operator: Operator): Promise<Outcome> {
  const { io } = operator;
  const interactive = io.stdin.isTTY === true;
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
    prompt = createInterface({
      input: io.stdin,
      ...(interactive && { output: io.stdout, terminal: true }),
      history,
      historySize: KEPT_LINES,
      removeHistoryDuplicates: true,
      // Asked each time: marks come and go while the session lasts.
      completer: async (line: string) => complete(line, await operator.call('channel.list', {})),
    });
    const lines = prompt[Symbol.asyncIterator]();
    const asked = prompt;
    operator.ask = (question, signal) =>
      Promise.race([
        asked.question(question, { signal }),
        new Promise<string>((resolve) => asked.once('close', () => resolve(''))),
      ]);
    prompt.on('SIGINT', onInterrupt);
    let typed = history;
    prompt.on('history', (now: string[]) => {
      typed = [...now];
    });
    if (interactive) {
      print(
        io.stdout,
        `${prop}: ${operator.conditionText}. You hold the lease; help lists what you can do.`,
      );
      if (operator.condition === 'parked') print(io.stdout, 'Type wake before you move anything.');
    }
    const exit = await runLines(operator, prompt, lines, interactive);
    prompt.close();
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

/** Runs lines until the end of input, `quit`, a lost link or, in a script, a refusal: the exit code. */
async function runLines(
  operator: Operator,
  prompt: Interface,
  lines: AsyncIterator<string>,
  interactive: boolean,
): Promise<number> {
  const { io } = operator;
  const parser = promptParser(PROMPT_VERBS, (text) => io.stdout.write(text));
  for (let number = 1; ; number++) {
    if (interactive) {
      prompt.setPrompt(`${operator.conditionWord}> `);
      prompt.prompt();
    }
    const { value: line, done } = await lines.next();
    if (done || operator.lost) return EXIT.done;
    try {
      const typed = words(line);
      if (typed.length === 0) continue;
      const chosen = parser.parse(typed);
      if (!chosen) continue;
      if (chosen.verb === QUIT) return EXIT.done;
      const { result, text } = await operator.run(chosen.verb, chosen.inputs);
      if (operator.options.json) print(io.stdout, JSON.stringify(result));
      else if (text) print(io.stdout, text);
    } catch (error) {
      if (operator.lost) return EXIT.unreachable;
      complain(operator, error, interactive ? undefined : number);
      if (!interactive) return EXIT.refused;
    }
  }
}

function complain(operator: Operator, error: unknown, line: number | undefined): void {
  const { stderr } = operator.io;
  if (operator.options.json) print(stderr, JSON.stringify({ line, error: errorObject(error) }));
  else print(stderr, `sinew: ${line === undefined ? '' : `line ${line}: `}${errorText(error)}`);
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
  const verbs = PROMPT_VERBS.map((verb) => verb.name);
  const chosen = PROMPT_VERBS.find((verb) => verb.name === name);
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
