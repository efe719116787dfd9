import type { Result } from '../../api/methods.ts';

/** Lines under a title, where there are any. */
export function Listed({ title, items }: { title: string; items: readonly string[] }) {
  if (items.length === 0) return null;
  return (
    <>
      <h3>{title}</h3>
      <ul>
        {items.map((item) => (
          <li key={item}>{item}</li>
        ))}
      </ul>
    </>
  );
}

type Additions = Pick<Result<'proposal.loom'>['added'][number], 'what' | 'why'>[];

/** Wires, plugs and the like that are proposed, each with its reason. */
export function Additions({ of }: { of: Readonly<Additions> }) {
  return (
    <ul class="review-wires">
      {of.map(({ what, why }) => (
        <li key={what}>
          {what} <span class="soft">{why}</span>
        </li>
      ))}
    </ul>
  );
}

/** What the check says, each with its place. */
export const checkLines = (findings: readonly { path: string; message: string }[]): string[] =>
  findings.map(({ path, message }) => `${path}: ${message}`);
