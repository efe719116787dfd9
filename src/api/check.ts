import type * as z from 'zod';
import { closest } from '../prop/finding.ts';
import { Refusal } from '../shared/errors.ts';
import { fields } from './fields.ts';
import type { MethodRecord } from './method.ts';
import { METHODS, type Method, recordOf } from './methods.ts';

/** Checks what a client has sent, before it goes anywhere. */

/** The method of that name. @throws Refusal that suggests the nearest name. */
export function methodNamed(name: string): Method {
  if (recordOf(name)) return name as Method;
  const shown = clip(name);
  const nearest = closest(shown, Object.keys(METHODS));
  const advice = nearest
    ? `did you mean ${nearest}?`
    : 'rpc.discover lists the methods that there are';
  throw new Refusal('method.unknown', `there is no method ${JSON.stringify(shown)}; ${advice}`, {
    method: shown,
    ...(nearest && { nearest }),
  });
}

const made = new Map<Method, z.ZodObject>();

/** The schema of a method's parameters: made when it is first asked for, then kept. */
function paramsOf(method: Method): z.ZodObject {
  let schema = made.get(method);
  if (!schema) {
    const record: MethodRecord = METHODS[method];
    schema = record.params(fields());
    made.set(method, schema);
  }
  return schema;
}

/**
 * The checked parameters of a call.
 * @throws Refusal of kind `invalidParams` that names the parameter and what would be right.
 */
export function checkParams(method: Method, given: object | undefined): object {
  if (Array.isArray(given)) {
    throw new Refusal(
      'params.by-position',
      `${method} takes its parameters by name: "params" must be an object, not an array`,
    );
  }
  const params = given ?? {};
  const schema = paramsOf(method);
  const checked = schema.safeParse(params);
  if (checked.success) return checked.data;

  const takes = Object.keys(schema.shape).join(', ') || 'no parameters';
  const issues = checked.error.issues.flatMap((issue) => {
    if (issue.code === 'unrecognized_keys') {
      return issue.keys.slice(0, 5).map((key) => ({
        parameter: clip(key),
        problem: `is unknown; ${method} takes ${takes}`,
      }));
    }
    const parameter = issue.path.join('.');
    return [{ parameter, problem: issue.message, ...got(params, issue.path[0]) }];
  });
  const first = issues[0]!;
  const reason = first.parameter
    ? `${method}: parameter "${first.parameter}" ${first.problem}`
    : `${method}: ${first.problem}`;
  throw new Refusal('params.invalid', reason, { issues });
}

/** The value that was given, shortened, where it can be shown. */
function got(params: object, key: PropertyKey | undefined): { got?: unknown } {
  const value = key === undefined ? undefined : (params as Record<PropertyKey, unknown>)[key];
  if (typeof value === 'string') return { got: key === 'token' ? '(not shown)' : clip(value) };
  // JSON has no word for what 1e999 reads as.
  if (typeof value === 'number') return { got: Number.isFinite(value) ? value : String(value) };
  if (value === undefined) return {};
  return { got: value === null || typeof value === 'boolean' ? value : typeof value };
}

function clip(given: string): string {
  return given.length > 64 ? `${given.slice(0, 64)}...` : given;
}
