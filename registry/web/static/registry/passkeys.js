// Shows what needs a passkey where the browser has them, and says when one was not accepted.
if (window.PublicKeyCredential) {
  document.querySelectorAll('.needs-script').forEach(each => { each.hidden = false })
  document.querySelectorAll('.without-script').forEach(each => { each.hidden = true })
}
document.addEventListener('allauth.error', () => {
  document.querySelectorAll('[data-passkey-problem]').forEach(each => { each.hidden = false })
})
