export function Bench() {
  return <h2>Bench</h2>;
}
