import { Command, Argument as CommanderArgument, CommanderError, Option } from 'commander';
import { UsageError } from './output.ts';
import { type Address, address, between } from './values.ts';
import type { Argument, Inputs, Verb, VerbOption } from './verb.ts';

/** Options that every command takes. */
export interface Globals {
  host?: Address;
  tokenFile?: string;
  json?: true;
  grace?: number;
  wake?: true;
  confirmUnknown?: true;
  name?: string;
}

export interface Chosen {
  verb: Verb;
  inputs: Inputs;
  globals: Globals;
}

export interface Parser {
  /**
   * What was asked for; undefined when the answer was the help text or the version, already printed.
   * @throws UsageError
   */
  parse(words: readonly string[]): Chosen | undefined;
}

const EPILOGUE = `
A command that moves something takes the lease if it is free and hands it over at the end.
Exit code: 0 done; 1 refused, findings, or nothing found; 2 wrong usage; 3 the daemon cannot be reached.`;

/** The parser of the command line. `print` gets help texts and the version. */
export function lineParser(
  verbs: readonly Verb[],
  version: string,
  print: (text: string) => void,
): Parser {
  return parser(verbs, print, () => {
    const program = new Command('sinew')
      .description('Moves, lights and parks a prop that sinewd controls.')
      .version(version, '--version', 'print the version')
      .addHelpText('after', EPILOGUE);
    const options: VerbOption[] = [
      {
        flags: '--host <HOST[:PORT]>',
        doc: 'where sinewd runs (default: SINEW_HOST, or 127.0.0.1:7420)',
        parse: address,
      },
      { flags: '--token-file <F>', doc: 'file with the token (default: SINEW_TOKEN_FILE)' },
      { flags: '--json', doc: 'machine-readable output' },
      {
        flags: '--grace <S>',
        doc: 'how long the prop stays live for the next holder, 0 to 300 s (default: 30; session: 0)',
        parse: between(0, 300, 'seconds'),
      },
      { flags: '--wake', doc: 'wake the prop first, if it is parked' },
      {
        flags: '--confirm-unknown',
        doc: 'wake servos that nobody knows the position of, without asking: all hands are clear',
      },
      { flags: '--name <NAME>', doc: 'who you are, for the journal and for others' },
    ];
    for (const option of options) program.addOption(makeOption(option));
    return program;
  });
}

/** The parser of the session's prompt: the same verbs, without the options for the whole command. */
export function promptParser(verbs: readonly Verb[], print: (text: string) => void): Parser {
  return parser(verbs, print, () => new Command(''));
}

function parser(
  verbs: readonly Verb[],
  print: (text: string) => void,
  makeProgram: () => Command,
): Parser {
  return {
    // A commander command keeps the values of the last parse, so that each parse has its own.
    parse(words) {
      let chosen: Chosen | undefined;
      const program = makeProgram()
        .exitOverride()
        .configureOutput({ writeOut: print, writeErr: () => {} })
        .configureHelp({
          showGlobalOptions: true,
          commandUsage: (command) =>
            [command.parent?.name(), command.name(), command.usage()].filter(Boolean).join(' '),
        });
      for (const verb of verbs) {
        addVerb(program, verb, (inputs) => {
          chosen = { verb, inputs, globals: program.opts<Globals>() };
        });
      }
      try {
        program.parse(words, { from: 'user' });
      } catch (error) {
        if (!(error instanceof CommanderError)) throw error;
        if (error.exitCode === 0) return undefined;
        throw new UsageError(usageText(error));
      }
      return chosen;
    },
  };
}

function addVerb(program: Command, verb: Verb, choose: (inputs: Inputs) => void): void {
  const command = program
    .command(verb.name, { hidden: verb.hidden === true })
    .aliases([...(verb.aliases ?? [])])
    .summary(verb.summary)
    .description(verb.summary);
  for (const argument of verb.args) command.addArgument(makeArgument(argument));
  for (const option of verb.options ?? []) command.addOption(makeOption(option));
  command.action(() => {
    const inputs: Inputs = { ...command.opts() };
    verb.args.forEach(({ name, rest }, at) => {
      const value = command.processedArgs[at];
      const words = rest ? ((value ?? []) as string[]) : [];
      inputs[name] = rest ? (words.length > 0 ? words.join(' ') : undefined) : value;
    });
    choose(inputs);
  });
}

function makeArgument({ name, doc, parse, choices, optional, rest }: Argument): CommanderArgument {
  const dots = rest ? '...' : '';
  const argument = new CommanderArgument(optional ? `[${name}${dots}]` : `<${name}${dots}>`, doc);
  if (parse) argument.argParser(parse);
  if (choices) argument.choices(choices);
  return argument;
}

function makeOption({ flags, doc, parse, choices, required }: VerbOption): Option {
  const option = new Option(flags, doc);
  if (parse) option.argParser(parse);
  if (choices) option.choices(choices);
  if (required) option.makeOptionMandatory();
  return option;
}

function usageText(error: CommanderError): string {
  if (error.code === 'commander.help') return 'no command given; try sinew --help';
  return error.message.replace(/^error: /, '').replaceAll('\n', ' ');
}
