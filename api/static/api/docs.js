// The browsable description.  A file of its own: the security policy allows no script inside a page.
"use strict";

const place = document.getElementById("description");

function withCsrf(request) {
  const found = document.cookie.match(/(?:^|; )(?:__Host-)?csrftoken=([^;]+)/);
  if (found && !["GET", "HEAD"].includes(request.method)) {
    request.headers["X-CSRFToken"] = found[1];
  }
  return request;
}

window.SwaggerUIBundle({
  url: place.dataset.schema,
  domNode: place,
  presets: [window.SwaggerUIBundle.presets.apis],
  layout: "BaseLayout",
  deepLinking: true,
  validatorUrl: null,
  requestInterceptor: withCsrf,
});
