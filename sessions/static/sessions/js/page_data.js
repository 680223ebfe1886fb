/* What the server gave the page: people, prescription, limits, addresses. */

export function readPage() {
  const page = JSON.parse(document.getElementById("page-data").textContent);
  return { ...page, owner: { account: page.account, patient: page.patient.id } };
}
