// Starts the browsable description. Calls made from it by somebody who is signed in carry the
// page's CSRF token; nothing is sent to another server.
"use strict";

const place = document.getElementById("api-docs");

SwaggerUIBundle({
  url: place.dataset.schema,
  domNode: place,
  presets: [SwaggerUIBundle.presets.apis],
  layout: "BaseLayout",
  deepLinking: true,
  validatorUrl: null,
  requestInterceptor: (request) => {
    const here = new URL(request.url, window.location.href).origin === window.location.origin;
    if (here && request.method && request.method !== "GET") {
      request.headers["X-CSRFToken"] = place.dataset.csrf;
    }
    return request;
  },
});
