export function Overview() {
  return <h2>Overview</h2>;
}
