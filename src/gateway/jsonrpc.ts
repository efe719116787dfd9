import { type ErrorObject, Refusal } from '../shared/errors.ts';

/**
 * JSON-RPC 2.0 (https://www.jsonrpc.org/specification, 2013-01-04): text to requests, outcomes to
 * text. It knows no method; section numbers in the comments are the specification's.
 */

export type Id = string | number | null;

export interface Request {
  method: string;
  /** A structured value or left out (4.2); whether by name or by position is not decided here. */
  params: object | undefined;
  /** Absent for a notification (4.1). */
  id?: Id;
}

/** One element of a message: a request, or why it is not one. */
export type Entry = { request: Request } | { refused: Refusal; id: Id };

export interface Message {
  /** The answer to a batch is an array (6). */
  batch: boolean;
  entries: Entry[];
}

/** `text` is a result that is JSON already. */
export type Outcome = { result: unknown } | { text: string } | { error: ErrorObject };

const isObject = (value: unknown): value is Record<string, unknown> =>
  typeof value === 'object' && value !== null && !Array.isArray(value);

function isId(value: unknown): value is Id {
  // 1e999 is JSON, but not a number that could be written back.
  return typeof value === 'string' || value === null || Number.isFinite(value);
}

function whole(refused: Refusal): Message {
  return { batch: false, entries: [{ refused, id: null }] };
}

/** Reads one element of a message. */
function read(value: unknown): Entry {
  if (!isObject(value)) {
    return {
      refused: new Refusal('request.malformed', 'a request must be a JSON object'),
      id: null,
    };
  }
  const given = Object.hasOwn(value, 'id');
  // 5: where the id cannot be made out, the answer's id is null.
  const id = given && isId(value.id) ? value.id : null;
  const refuse = (reason: string): Entry => ({
    refused: new Refusal('request.malformed', reason),
    id,
  });

  if (given && !isId(value.id)) return refuse('"id" must be a string, a number or null');
  if (value.jsonrpc !== '2.0') return refuse('"jsonrpc" must be exactly "2.0"');
  if (typeof value.method !== 'string') return refuse('"method" must be a string');
  const params = value.params;
  if (Object.hasOwn(value, 'params') && (typeof params !== 'object' || params === null)) {
    return refuse('"params" must be an object (or be left out)');
  }
  const request: Request = { method: value.method, params: params as object | undefined };
  // 4.1: a notification is a request without an "id" member; "id": null is a request.
  if (given) request.id = id;
  return { request };
}

/** Reads a text frame. Never throws: what cannot be read becomes an entry that is refused. */
export function parseMessage(text: string, batchLimit: number): Message {
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch (error) {
    const detail = (error as Error).message.slice(0, 120);
    return whole(new Refusal('request.not-json', `the frame is not JSON: ${detail}`));
  }
  if (!Array.isArray(value)) return { batch: false, entries: [read(value)] };
  // 6: an empty array is one invalid request, not an empty batch.
  if (value.length === 0) {
    return whole(
      new Refusal('request.empty-batch', 'an empty batch; put at least one request in it'),
    );
  }
  if (value.length > batchLimit) {
    return whole(
      new Refusal(
        'request.batch-too-large',
        `a batch of ${value.length} requests; at most ${batchLimit} are taken, and nothing was done`,
        { count: value.length, limit: batchLimit },
      ),
    );
  }
  return { batch: true, entries: value.map(read) };
}

/** The text of one response object (5). */
export function response(id: Id, outcome: Outcome): string {
  if ('text' in outcome)
    return `{"jsonrpc":"2.0","result":${outcome.text},"id":${JSON.stringify(id)}}`;
  // 5: "result" is required on success, so a method without one answers null.
  if ('result' in outcome) {
    return JSON.stringify({ jsonrpc: '2.0', result: outcome.result ?? null, id });
  }
  return JSON.stringify({ jsonrpc: '2.0', error: outcome.error, id });
}

/** The text of a notification (4.1). */
export function notification(method: string, params: object): string {
  return JSON.stringify({ jsonrpc: '2.0', method, params });
}

/**
 * Carries out a message in order, each request after the one before is done, and returns the text
 * to send; `undefined` where nothing is to be answered (4.1, 6).
 */
export async function answer(
  message: Message,
  call: (request: Request) => Promise<Outcome>,
): Promise<string | undefined> {
  const answers: string[] = [];
  for (const entry of message.entries) {
    if ('refused' in entry) {
      answers.push(response(entry.id, { error: entry.refused.toObject() }));
      continue;
    }
    const outcome = await call(entry.request);
    if (entry.request.id !== undefined) answers.push(response(entry.request.id, outcome));
  }
  if (answers.length === 0) return undefined;
  return message.batch ? `[${answers.join(',')}]` : answers[0];
}
