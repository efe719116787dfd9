import * as z from 'zod';
import { CODES, type ErrorName, MESSAGES } from '../shared/errors.ts';
import { lazily } from '../shared/lazily.ts';
import { PROTOCOL } from './limits.ts';
import { api, type MethodSpec, methods } from './methods.ts';

/**
 * The OpenRPC 1.3 document (https://spec.open-rpc.org), generated from the zod schemas. JSON Schemas
 * are draft 7, as that specification asks.
 */

/** Errors that any method may answer. */
const EVERYWHERE: ErrorName[] = [
  'invalidRequest',
  'invalidParams',
  'internal',
  'notAuthorised',
  'tooMany',
];

const notifications = () => [
  {
    name: 'state',
    summary:
      'Sent after state.follow. The first one holds every channel, later ones the channels that changed',
    params: z.object({
      condition: z.string().describe('condition of the whole prop'),
      t: z.number().describe('time since the daemon started (s)'),
      tick: z
        .number()
        .describe('number of the tick that is shown; entries of the journal tell theirs'),
      holder: z.string().nullable().describe('name of the client that holds the lease'),
      channels: z.record(
        z.string(),
        z.object({
          value: z
            .union([z.number(), z.boolean(), z.string()])
            .describe('servo: deg; relay: true when closed; lamp: lightness 0..1; rgb: #rrggbb'),
          target: z.union([z.number(), z.boolean(), z.string()]),
          flags: z.array(z.string()),
          amps: z.number().describe('estimated draw (A)'),
          pulseUs: z.number().optional().describe('servo: pulse width (us), 0 while released'),
          pushing: z.boolean().optional().describe('servo: it pushes against something and buzzes'),
          measuredDeg: z.number().optional().describe('servo: measured angle (deg)'),
          measuredA: z.number().optional().describe('servo: measured current (A)'),
        }),
      ),
      rails: z.record(
        z.string(),
        z.object({
          amps: z.number().describe('estimated draw (A)'),
          measuredA: z.number().optional().describe('measured draw (A)'),
          limitA: z.number().describe('current that the supply may be asked for (A)'),
        }),
      ),
    }),
  },
  {
    name: 'event',
    summary: 'Sent after state.follow with journal: true; one journal entry',
    params: z.object({
      entry: z.looseObject({}).describe('as in journal.read'),
      again: z
        .literal(true)
        .optional()
        .describe('it takes the place of the entry with the same seq: more like it have come'),
    }),
  },
  {
    name: 'prop.changed',
    summary:
      'Sent to every session when the prop file, or how it stands to the prop in force, changes. ' +
      'With neither pending nor problem the file is in force; read again what depends on it',
    params: z.object({
      version: z.string().describe('version of the prop file that is in force'),
      prop: z.string().describe('name of the prop'),
      linkTimeoutMs: z.number().describe('silence that counts as a lost link (ms)'),
      ...api().fileNews.shape,
    }),
  },
  {
    name: 'condition',
    summary: 'Sent to every session when the condition of the prop changes',
    params: z.object({
      condition: z.string().describe('condition of the whole prop'),
      cause: z.object({
        code: z.string().describe('a stable dotted word'),
        who: z.string().describe("the client's name, or prop when it acted by itself"),
        words: z.string(),
      }),
    }),
  },
];

function schema(type: z.ZodType, io: 'input' | 'output') {
  const { $schema, ...rest } = z.toJSONSchema(type, { target: 'draft-07', io });
  return rest;
}

/** Content Descriptor Objects of an object's members. */
function descriptors(params: z.ZodObject) {
  return Object.entries(params.shape).map(([name, type]) => {
    const member = type as z.ZodType;
    const described = schema(member, 'input');
    return {
      name,
      ...(described.description && { description: described.description }),
      required: !member.safeParse(undefined).success,
      schema: described,
    };
  });
}

function method(name: string, spec: MethodSpec) {
  return {
    name,
    summary: spec.summary,
    paramStructure: 'by-name',
    params: descriptors(spec.params),
    result: { name: `${name} result`, schema: schema(spec.result, 'output') },
    errors: [...EVERYWHERE, ...spec.errors].map((kind) => ({
      $ref: `#/components/errors/${kind}`,
    })),
  };
}

function errorObject(kind: ErrorName) {
  return { code: CODES[kind], message: MESSAGES[kind] };
}

/** Made when it is first asked for: most clients never do. */
export const openRpcDocument = lazily(makeDocument);

function makeDocument(): object {
  const kinds = new Set([...EVERYWHERE, ...[...methods().values()].flatMap((spec) => spec.errors)]);
  return {
    openrpc: '1.3.2',
    info: {
      title: 'Sinew',
      version: `${PROTOCOL}.0.0`,
      description:
        'JSON-RPC 2.0 text frames over WebSocket. Parameters go by name. The data of an error ' +
        'carries a reason and the values behind it.',
    },
    servers: [{ name: 'this daemon', url: '/api' }],
    methods: [...methods()].map(([name, spec]) => method(name, spec)),
    'x-notifications': notifications().map(({ name, summary, params }) => ({
      name,
      summary,
      params: descriptors(params),
    })),
    components: {
      errors: Object.fromEntries([...kinds].map((kind) => [kind, errorObject(kind)])),
    },
  };
}
