/** What takes a while to make, and a program may start without: made once, when first asked for. */
export function lazily<T extends object>(make: () => T): () => T {
  let made: T | undefined;
  return () => {
    made ??= make();
    return made;
  };
}
