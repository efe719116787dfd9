/** What is used of a browser's Storage. */
export interface Kept {
  getItem(key: string): string | null;
  setItem(key: string, value: string): void;
  removeItem(key: string): void;
}

/**
 * A storage that never fails: where it is full or forbidden, what is kept lasts as long as the page.
 * @param storage asked for with every use, as that alone may be forbidden
 */
export function guarded(storage: () => Kept): Kept {
  const tried = <T>(use: (storage: Kept) => T, otherwise: T): T => {
    try {
      return use(storage());
    } catch {
      return otherwise;
    }
  };
  return {
    getItem: (key) => tried((kept) => kept.getItem(key), null),
    setItem: (key, value) => tried((kept) => kept.setItem(key, value), undefined),
    removeItem: (key) => tried((kept) => kept.removeItem(key), undefined),
  };
}

/** What this browser keeps for the page. */
export const browserKept = guarded(() => localStorage);

/** What a kept text stands for; undefined where there is none, or where it cannot be read. */
export function readKept(text: string | null): unknown {
  try {
    return text === null ? undefined : JSON.parse(text);
  } catch {
    return undefined;
  }
}
