import * as z from 'zod';
import { CODES, type ErrorName, MESSAGES } from '../shared/errors.ts';
import { lazily } from '../shared/lazily.ts';
import { REFUSALS, type RefusalCode } from '../shared/refusals.ts';
import { EVERYWHERE } from './errors.ts';
import { fields } from './fields.ts';
import type { MethodRecord } from './method.ts';
import { METHODS } from './methods.ts';
import { NOTIFICATIONS } from './notifications.ts';

/** Version of the API. */
export const PROTOCOL = 1;

/**
 * The OpenRPC 1.3 document (https://spec.open-rpc.org), generated from the zod schemas. JSON Schemas
 * are draft 7, as that specification asks.
 */

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

function method(name: string, record: MethodRecord) {
  const { summary, errors, by, lease } = record;
  return {
    name,
    summary,
    paramStructure: 'by-name',
    params: descriptors(record.params(fields())),
    result: { name: `${name} result`, schema: schema(record.result(fields()), 'output') },
    examples: [examplePairing(name, record)],
    errors: classesOf([...EVERYWHERE, ...errors]).map((kind) => ({
      $ref: `#/components/errors/${kind}`,
    })),
    'x-refusals': errors,
    'x-answered-by': by,
    'x-needs-lease': lease,
  };
}

/** An Example Pairing Object. */
function examplePairing(name: string, { example: { params, result } }: MethodRecord) {
  return {
    name: `${name} of the owl`,
    params: Object.entries(params).map(([one, value]) => ({ name: one, value })),
    ...(result && { result: { name: `${name} result`, value: result } }),
  };
}

function classesOf(codes: readonly RefusalCode[]): ErrorName[] {
  return [...new Set(codes.map((code) => REFUSALS[code][0]))];
}

/** A class of errors, with every stable word that its data may carry. */
function errorObject(kind: ErrorName) {
  const codes = (Object.keys(REFUSALS) as RefusalCode[]).filter(
    (code) => REFUSALS[code][0] === kind,
  );
  return { code: CODES[kind], message: MESSAGES[kind], data: { codes } };
}

/** Made when it is first asked for: most clients never do. */
export const openRpcDocument = lazily(makeDocument);

function makeDocument(): Record<string, unknown> {
  const records: [string, MethodRecord][] = Object.entries(METHODS);
  const kinds = classesOf([...EVERYWHERE, ...records.flatMap(([, { errors }]) => errors)]);
  return {
    openrpc: '1.3.2',
    info: {
      title: 'Sinew',
      version: `${PROTOCOL}.0.0`,
      description:
        'JSON-RPC 2.0 text frames over WebSocket. Parameters are given by name. The data of an error ' +
        'carries a stable code, a reason and the values behind it. session.open comes first. Keep-alive: ' +
        'the daemon sends WebSocket pings, which a library answers by itself (RFC 6455, 5.5.3). Whoever holds ' +
        'the lease must answer them and be heard within link.timeoutMs (linkTimeoutMs of session.open); ' +
        'otherwise the link counts as lost, and the prop parks. A page in a browser, whose pongs say nothing ' +
        'about its script, calls session.life with the time of the last state instead.',
    },
    servers: [{ name: 'this daemon', url: '/api' }],
    methods: records.map(([name, record]) => method(name, record)),
    'x-notifications': Object.entries(NOTIFICATIONS).map(([name, { summary, params }]) => ({
      name,
      summary,
      params: descriptors(params(fields())),
    })),
    components: {
      errors: Object.fromEntries(kinds.map((kind) => [kind, errorObject(kind)])),
    },
  };
}
